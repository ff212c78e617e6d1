//! Amendments: changes of an animal's record that one site proposes and the holder decides on.

use crate::model::animal::Label;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use uuid::Uuid;

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A fact is to say something else.
    Correction,
    /// A fact was never so.
    Withdrawal,
    /// The animal died.
    Death,
    /// Another site has a record of the same animal.
    Merge,
    /// A merge was wrong.
    Unmerge,
}

/// What became of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The holder made the change.
    Accepted,
    /// The holder did not.
    Declined,
    /// The site that proposed it took it back.
    Withdrawn,
}

impl Outcome {
    /// As people say it.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Declined => "declined",
            Self::Withdrawn => "withdrawn",
        }
    }
}

/// A change that is proposed.
#[derive(Clone, Debug)]
pub struct New {
    pub animal: Uuid,
    pub kind: Kind,
    /// The fact that is meant, where one is.
    pub fact: Option<Uuid>,
    /// The site that is asked; none where that is whoever holds the animal.
    pub asked: Option<Uuid>,
    /// The very change, as the rules read it.
    pub change: Value,
    /// The same in words.
    pub says: String,
    pub because: String,
}

/// A change that was proposed, and what became of it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Amendment {
    pub id: Uuid,
    pub animal: Label,
    /// Code of the site that proposed it.
    pub site: String,
    pub kind: Kind,
    pub fact: Option<Uuid>,
    /// Code of the site that is asked; empty where that is whoever holds the animal.
    pub asked: String,
    pub change: Value,
    pub says: String,
    pub because: String,
    pub at: DateTime<Utc>,
    /// Empty where the reader may not know.
    pub by: String,
    /// None while it is open.
    pub answer: Option<Answer>,
}

/// What became of an amendment, who says so and why.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Answer {
    pub outcome: Outcome,
    /// Code of the site that says so.
    pub site: String,
    pub note: String,
    pub at: DateTime<Utc>,
    /// Empty where the reader may not know.
    pub by: String,
}
