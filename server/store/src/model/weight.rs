//! Weights: readings of a scale, taken in rounds.

use crate::model::animal::Label;
use crate::model::concern::Concern;
use crate::model::reason::Reason;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Mass;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How a mass was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Method {
    #[serde(rename = "")]
    NotTold,
    #[serde(rename = "trained")]
    Trained,
    #[serde(rename = "handled")]
    Handled,
    #[serde(rename = "crate")]
    Crate,
    #[serde(rename = "anaesthetised")]
    Anaesthetised,
    #[serde(rename = "estimate")]
    Estimate,
}

/// When a reading was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// As it is recorded.
    Now,
    At(DateTime<Utc>),
    On(NaiveDate),
}

/// What came of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    Mass(Mass),
    /// The animal was offered the scale and would not come.
    Tried,
}

/// One reading of a round, well-formed.
#[derive(Clone, Debug)]
pub struct Reading {
    /// Reference as people write it.
    pub animal: String,
    pub taken: Taken,
    pub outcome: Outcome,
    pub scale: String,
    pub method: Method,
    pub note: String,
}

/// A round: each reading, or why it is none.
#[derive(Clone, Debug)]
pub struct Round {
    pub readings: Vec<Result<Reading, ReadingRefusal>>,
}

/// Why a reading was not recorded.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadingRefusal {
    pub reason: Reason,
    pub field: String,
    pub say: String,
    pub mend: String,
}

/// What an animal was expected to weigh.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Forecast {
    pub expected: Mass,
    pub low: Mass,
    pub high: Mass,
}

/// What became of a reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Answer {
    Accepted { weight: Uuid },
    Repeat { weight: Uuid },
    SecondWeighing { weight: Uuid, forecast: Forecast, hint: String },
    Refused(ReadingRefusal),
}

/// The answer to one reading, with the animal it was about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answered {
    pub animal: Option<Label>,
    pub answer: Answer,
}

/// The round as it stands on record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RoundOutcome {
    pub answers: Vec<Answered>,
    pub concerns: Vec<Concern>,
    /// Scales that are off for all animals of the round.
    pub drifts: Vec<ScaleDrift>,
}

/// A scale by which all animals of a round are off by much the same factor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScaleDrift {
    /// As it was noted; may be empty.
    pub scale: String,
    pub percent: f64,
    pub standard_error_percent: f64,
    pub animals: usize,
}

/// A reading on record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Weight {
    pub id: Uuid,
    pub animal: Label,
    pub site: String,
    pub weighed_at: DateTime<Utc>,
    pub day_only: bool,
    pub mass: Option<Mass>,
    /// Set aside until another reading agrees with it.
    pub doubtful: bool,
    /// A person vouches for it.
    pub accepted: bool,
    pub scale: String,
    pub method: Method,
    pub note: String,
    pub recorded_at: DateTime<Utc>,
}
