//! Whom there is to weigh, as the server said last: for a morning without a signal.

use crate::failure::Failure;
use crate::places::{self, Places};
use crate::watching::names::Member;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;
use uuid::Uuid;

/// Names the files of rolls among all identifiers made of names (RFC 9562, 5.5).
const ROLLS: Uuid = Uuid::from_u128(0x2f0e_6a4b_5d1c_4b7e_9c3a_8d24_61b0_7e95);

/// Animals, and where and when they were so.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Roll {
    pub(crate) site: String,
    pub(crate) zone: Tz,
    /// How they are called together.
    pub(crate) whom: String,
    pub(crate) members: Vec<Member>,
    pub(crate) known_at: DateTime<Utc>,
}

fn folder(places: &Places) -> Result<PathBuf, Failure> {
    Ok(places.state()?.join("rolls"))
}

/// Forgets all of them: whoever signs in next may not see these animals.
pub(crate) fn forget(places: &Places) -> Result<(), Failure> {
    let folder = folder(places)?;
    match std::fs::remove_dir_all(&folder) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            Err(Failure::file("the folder", &folder, &error))
        }
        _ => Ok(()),
    }
}

/// Where the roll of a question is kept on this machine.
pub(crate) struct Kept(PathBuf);

impl Kept {
    /// For a server, a site and a group as they were named; none where they were not.
    pub(crate) fn of(
        places: &Places,
        server: &str,
        site: Option<&str>,
        group: Option<&str>,
    ) -> Result<Self, Failure> {
        let asked = [server, site.unwrap_or_default(), group.unwrap_or_default()].join("\n");
        let name = format!("{}.json", Uuid::new_v5(&ROLLS, asked.as_bytes()));
        Ok(Self(folder(places)?.join(name)))
    }

    pub(crate) fn save(&self, roll: &Roll) -> Result<(), Failure> {
        let text = serde_json::to_string(roll).map_err(|error| Failure::machine(error.to_string(), ""))?;
        places::replace(&self.0, &text).map_err(|error| Failure::file("the file", &self.0, &error))
    }

    /// The roll, if one that can be read is there.
    pub(crate) fn load(&self) -> Option<Roll> {
        serde_json::from_str(&std::fs::read_to_string(&self.0).ok()?).ok()
    }
}
