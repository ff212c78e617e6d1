//! Alarm and upset: what befell a whole group.

use crate::model::animal::Label;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What befell the group.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UpsetKind {
    Alarm,
    Fight,
    Escape,
    Visitor,
    Other,
}

impl UpsetKind {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Alarm => "alarm",
            Self::Fight => "fight",
            Self::Escape => "escape",
            Self::Visitor => "visitor",
            Self::Other => "other",
        }
    }
}

/// An upset to record.
#[derive(Clone, Debug)]
pub struct NewUpset {
    pub group: String,
    pub kind: UpsetKind,
    /// Now where none.
    pub began_at: Option<DateTime<Utc>>,
    pub happened: String,
    pub response: String,
    /// None where nobody saw it calm down.
    pub calm_after_minutes: Option<i32>,
    pub animals: Vec<String>,
}

/// An upset on record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Upset {
    pub id: Uuid,
    pub site: String,
    pub group: String,
    pub kind: UpsetKind,
    pub began_at: DateTime<Utc>,
    pub happened: String,
    pub response: String,
    pub calm_after_minutes: Option<i32>,
    pub animals: Vec<Label>,
    pub recorder: String,
    pub recorded_at: DateTime<Utc>,
}
