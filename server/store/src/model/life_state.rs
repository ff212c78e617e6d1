//! Life states: what an animal goes through for a while, and what its weight depends on.

use crate::model::animal::Label;
use crate::model::moment::Moment;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A state.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StateKind {
    /// She carries young or eggs, or broods.
    Carrying,
    Moult,
    Rut,
    Torpor,
    Rest,
}

impl StateKind {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Carrying => "carrying",
            Self::Moult => "moult",
            Self::Rut => "rut",
            Self::Torpor => "torpor",
            Self::Rest => "rest",
        }
    }
}

/// How a state ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StateEnd {
    /// A person recorded that it is over.
    Over,
    /// A birth was recorded.
    Birth,
    /// The animal died or left the site.
    Left,
    /// What was suspected was confirmed.
    Confirmed,
}

impl StateEnd {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Over => "over",
            Self::Birth => "birth",
            Self::Left => "left",
            Self::Confirmed => "confirmed",
        }
    }
}

/// A state to record.
#[derive(Clone, Debug)]
pub struct NewState {
    pub animal: String,
    pub kind: StateKind,
    pub suspected: bool,
    /// Now where none.
    pub since: Option<Moment>,
    pub note: String,
}

/// The end of one.
#[derive(Clone, Debug)]
pub struct Over {
    pub animal: String,
    pub kind: StateKind,
    /// Now where none.
    pub when: Option<Moment>,
    pub because: String,
}

/// A state on record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LifeState {
    pub id: Uuid,
    pub animal: Label,
    pub site: String,
    pub kind: StateKind,
    pub suspected: bool,
    pub began_at: DateTime<Utc>,
    /// None while it lasts.
    pub ended: Option<(DateTime<Utc>, StateEnd)>,
    pub ended_why: String,
    pub note: String,
    /// Empty where the caller may not know.
    pub recorder: String,
    pub recorded_at: DateTime<Utc>,
}
