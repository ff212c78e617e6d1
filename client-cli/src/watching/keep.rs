//! What was typed, kept on this machine until it is on record.

use super::{Draft, sheet};
use crate::failure::Failure;
use crate::places::{self, Places};
use chrono_tz::Tz;
use std::path::{Path, PathBuf};

/// Watches that were typed here and are not on record yet, as far as their folder can be read.
pub(crate) fn waiting(places: &Places) -> Result<Vec<PathBuf>, Failure> {
    let files = std::fs::read_dir(folder(places)?).into_iter().flatten();
    let mut paths: Vec<PathBuf> = files.filter_map(|file| Some(file.ok()?.path())).collect();
    paths.sort();
    Ok(paths)
}

/// Forgets a file that was sent, where it is one that was kept here; what people wrote stays theirs.
pub(crate) fn sent(places: &Places, path: &Path) -> Result<(), Failure> {
    let own = folder(places)?.canonicalize().ok();
    let path = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    if own.is_some() && path.parent() == own.as_deref() {
        std::fs::remove_file(&path).map_err(|error| Failure::file("the file", &path, &error))?;
    }
    Ok(())
}

fn folder(places: &Places) -> Result<PathBuf, Failure> {
    Ok(places.state()?.join("watches"))
}

/// The file of a watch.
pub(crate) struct Kept {
    path: PathBuf,
    zone: Tz,
}

impl Kept {
    /// A file for a watch, in the folder of the state of this machine.
    pub(crate) fn new(places: &Places, draft: &Draft, zone: Tz) -> Result<Self, Failure> {
        let began = draft.began_at.with_timezone(&zone).format("%Y-%m-%d-%H%M");
        let short = draft.watch_id.get(..8).unwrap_or(&draft.watch_id);
        let path = folder(places)?.join(format!("{began}-{short}.csv"));
        let kept = Self { path, zone };
        kept.save(draft)?;
        Ok(kept)
    }

    /// Writes the watch as it is now. The file is always whole.
    pub(crate) fn save(&self, draft: &Draft) -> Result<(), Failure> {
        let text = sheet::write(draft, self.zone)?;
        places::replace(&self.path, &text).map_err(|error| Failure::file("the file", &self.path, &error))
    }

    /// It is on record: the file has done its duty.
    pub(crate) fn forget(self) -> Result<(), Failure> {
        std::fs::remove_file(&self.path).map_err(|error| Failure::file("the file", &self.path, &error))
    }

    /// Where it is.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }
}
