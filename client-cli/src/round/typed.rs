//! A round in the making: typed line by line, and kept as the file that `holt weigh --file` reads.

use super::line::Shown;
use crate::failure::Failure;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;

/// What was typed of one animal on the scale.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Noted {
    pub(crate) accession: String,
    pub(crate) at: DateTime<Utc>,
    pub(crate) shown: Shown,
    pub(crate) note: String,
}

/// What holds of the whole round.
#[derive(Clone, Debug, Default)]
pub(crate) struct Means {
    pub(crate) scale: String,
    pub(crate) method: String,
}

/// The round as a file.
pub(crate) fn write(noted: &[Noted], means: &Means, zone: Tz) -> Result<String, Failure> {
    let unwritten = |error: &dyn std::fmt::Display| {
        Failure::machine(format!("the round cannot be written: {error}"), "report this")
    };
    let mut sheet = csv::Writer::from_writer(Vec::new());
    let mut rows = vec![["animal", "mass", "at", "declined", "scale", "method", "note"].map(str::to_owned)];
    rows.extend(noted.iter().map(|one| {
        let (mass, declined) = match &one.shown {
            Shown::Mass(text) => (text.as_str(), ""),
            Shown::Declined => ("", "yes"),
        };
        let at = one.at.with_timezone(&zone).format("%Y-%m-%dT%H:%M:%S%:z").to_string();
        [&one.accession, mass, &at, declined, &means.scale, &means.method, &one.note].map(str::to_owned)
    }));
    for row in rows {
        sheet.write_record(row).map_err(|error| unwritten(&error))?;
    }
    let bytes = sheet.into_inner().map_err(|error| unwritten(&error))?;
    String::from_utf8(bytes).map_err(|error| unwritten(&error))
}
