//! People and animals: encounters, and the limits that are kept.

use crate::model::animal::Label;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::encounters::{Breach, Left, Limits};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What kind of encounter it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    Talk,
    Feed,
    Close,
}

impl Kind {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Talk => "talk",
            Self::Feed => "feed",
            Self::Close => "close",
        }
    }
}

/// For what limits hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Of<Taxon = (Uuid, String), Animal = Label> {
    Taxon(Taxon),
    Animal(Animal),
}

/// Limits with what they hold for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rule {
    pub of: Of,
    pub limits: Limits,
    pub set_at: DateTime<Utc>,
}

/// An encounter as somebody tells it.
#[derive(Clone, Debug)]
pub struct NewEncounter {
    pub kind: Kind,
    pub began_at: DateTime<Utc>,
    pub ended_at: DateTime<Utc>,
    pub animals: Vec<String>,
    /// A group whose members all took part; may be empty.
    pub group: String,
    pub people: i32,
    pub incident: String,
    pub note: String,
}

/// An encounter on record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Encounter {
    pub id: Uuid,
    pub site: String,
    pub kind: Kind,
    pub began_at: DateTime<Utc>,
    pub ended_at: DateTime<Utc>,
    /// By accession.
    pub animals: Vec<Label>,
    pub people: i32,
    pub incident: String,
    pub note: String,
    pub recorded_at: DateTime<Utc>,
}

/// A limit that was not kept, as it is told: on which day or from which of seven, how much it was, how much is
/// set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Broken {
    pub animal: Label,
    pub limit: Limit,
    pub on: NaiveDate,
    pub told: u32,
    pub set: u32,
}

/// Which limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    MinutesADay,
    EncountersADay,
    MinutesAWeek,
    Rest,
    FreeDays,
}

impl Broken {
    /// A breach of an animal, with days of a zone.
    #[must_use]
    pub fn new(animal: &Label, breach: &Breach, day_of: impl Fn(DateTime<Utc>) -> NaiveDate) -> Self {
        let (limit, on, told, set) = match *breach {
            Breach::Day { day, minutes, allowed } => (Limit::MinutesADay, day, minutes, allowed),
            Breach::Often { day, encounters, allowed } => (Limit::EncountersADay, day, encounters, allowed),
            Breach::Week { first, minutes, allowed } => (Limit::MinutesAWeek, first, minutes, allowed),
            Breach::Rest { at, minutes, asked } => (Limit::Rest, day_of(at), minutes, asked),
            Breach::FreeDays { first, free, asked } => (Limit::FreeDays, first, free.into(), asked.into()),
        };
        Self { animal: animal.clone(), limit, on, told, set }
    }
}

/// An encounter that was recorded, and what it breaks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recorded {
    pub encounter: Encounter,
    pub broken: Vec<Broken>,
    /// Animals that have no limits.
    pub unlimited: Vec<Label>,
}

/// What is left of the limits of an animal.
#[derive(Clone, Debug)]
pub struct Allowance {
    pub animal: Label,
    /// Whether they are its own; none where it has no limits.
    pub limits: Option<(bool, Limits)>,
    pub left: Left,
    pub broken: Vec<Broken>,
}
