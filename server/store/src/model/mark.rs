//! Marks: how an animal is told apart.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Kind of mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MarkKind {
    Transponder,
    Ring,
    Tattoo,
    EarNotch,
    Natural,
    HouseName,
    /// Number in the records of a collection outside Holt.
    FormerNumber,
}

impl MarkKind {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Transponder => "transponder",
            Self::Ring => "ring",
            Self::Tattoo => "tattoo",
            Self::EarNotch => "ear_notch",
            Self::Natural => "natural",
            Self::HouseName => "house_name",
            Self::FormerNumber => "former_number",
        }
    }
}

/// A mark over a stretch of time.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mark {
    pub id: Uuid,
    pub kind: MarkKind,
    pub code: String,
    pub place_on_body: String,
    pub issuer: String,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
}

/// A mark to put on; a transponder's code has been read by its notation.
#[derive(Clone, Debug)]
pub struct NewMark {
    pub kind: MarkKind,
    pub code: String,
    pub place_on_body: String,
    pub issuer: String,
}
