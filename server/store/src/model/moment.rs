//! When something was, as people give it.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

/// When something was: the instant, or the day alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Moment {
    At(DateTime<Utc>),
    On(NaiveDate),
}

impl Moment {
    /// In words.
    #[must_use]
    pub fn spoken(self) -> String {
        match self {
            Self::At(at) => at.format("%Y-%m-%d %H:%M UTC").to_string(),
            Self::On(day) => day.to_string(),
        }
    }
}
