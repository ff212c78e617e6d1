//! Crate readings: several animals of a litter or a group on one scale, never divided among them.

use crate::model::weight::Taken;
use chrono::{DateTime, Utc};
use holt_audit::terms::Mass;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Whose animals were in the crate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    Litter(Uuid),
    Group(Uuid),
}

/// Whose animals are said to have been in the crate.
#[derive(Clone, Debug)]
pub enum Named {
    Litter(Uuid),
    /// Name or identifier.
    Group(String),
}

/// A reading to keep.
#[derive(Clone, Debug)]
pub struct NewCrateReading {
    pub named: Named,
    pub animals: i32,
    pub mass: Mass,
    pub taken: Taken,
    pub scale: String,
    pub note: String,
}

impl NewCrateReading {
    /// Whether only the day is known.
    #[must_use]
    pub const fn is_day_only(&self) -> bool {
        matches!(self.taken, Taken::On(_))
    }
}

/// A reading on record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CrateReading {
    pub id: Uuid,
    pub weighed_at: DateTime<Utc>,
    pub day_only: bool,
    /// Of all of them together.
    pub mass: Mass,
    pub animals: i32,
    pub scale: String,
    pub note: String,
    pub recorded_at: DateTime<Utc>,
}
