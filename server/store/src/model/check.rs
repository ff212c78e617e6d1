//! Checks: what must be done again and again, and what is due.

use crate::model::animal::Label;
use crate::model::weight::Forecast;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::schedule::Coverage;
use holt_audit::terms::Mass;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What is to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Duty {
    Weigh,
    Assess,
    /// End or prolong a loan.
    EndLoan,
    /// Weigh again, or accept or withdraw a reading that waits.
    WeighAgain,
}

impl Duty {
    /// Duties that checks are set up for.
    pub const ALL: [Self; 2] = [Self::Weigh, Self::Assess];
}

/// Whom a check is for, as it was asked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// Reference to one animal.
    Animal(String),
    /// Scientific name.
    Taxon(String),
    /// Name of an enclosure.
    Enclosure(String),
    /// Name of a group.
    Group(String),
    WholeSite,
}

/// A check.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Check {
    pub id: Uuid,
    pub site: String,
    pub duty: Duty,
    pub scope: Scope,
    pub recurrence: String,
    pub starts_on: NaiveDate,
    pub ends_on: Option<NaiveDate>,
    pub grace_days: u16,
    /// Who is to do it, in words.
    pub by_whom: String,
    pub note: String,
}

/// A check to set up.
#[derive(Clone, Debug)]
pub struct NewCheck {
    pub duty: Duty,
    pub scope: Scope,
    pub recurrence: String,
    pub starts_on: Option<NaiveDate>,
    pub grace_days: u16,
    pub by_whom: String,
    pub note: String,
}

/// What became of the due days of a check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckCoverage {
    pub check: Check,
    /// Over all animals.
    pub counts: Coverage,
    /// Each animal of which a due day was not done in time, by accession.
    pub short: Vec<(Label, Coverage)>,
}

/// How a due day stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DueState {
    Due,
    Overdue,
}

/// Something that is due for one animal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DueItem {
    pub check: Uuid,
    pub duty: Duty,
    pub by_whom: String,
    pub animal: Label,
    pub enclosure: String,
    pub state: DueState,
    pub due_on: NaiveDate,
    pub days_late: i32,
    pub open_dues: i32,
    pub last_done_on: Option<NaiveDate>,
    pub tried_on: Option<NaiveDate>,
    pub waiting: Option<Waiting>,
}

/// A reading that waits for a second weighing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Waiting {
    pub mass: Mass,
    /// What is expected of the animal without it.
    pub forecast: Forecast,
    pub weighed_at: DateTime<Utc>,
    pub day_only: bool,
    /// Empty where another site recorded it.
    pub recorded_by: String,
}
