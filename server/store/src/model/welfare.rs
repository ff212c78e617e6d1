//! What assessments say together.

use crate::model::animal::Label;
use crate::model::unreadable::Unreadable;
use chrono::NaiveDate;
use holt_audit::agreement::{Agreement, OfDomain};
use holt_audit::terms::Domain;
use holt_audit::welfare::course::Change;
use holt_audit::welfare::{Compromise, Enhancement};
use std::collections::BTreeMap;
use uuid::Uuid;

/// The grades of a domain in one assessment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Point {
    pub assessment: Uuid,
    pub on: NaiveDate,
    pub protocol: String,
    pub protocol_version: i32,
    pub observer: String,
    pub compromise: Compromise,
    pub enhancement: Enhancement,
}

/// The course of one observed domain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DomainCourse {
    pub domain: Domain,
    /// Oldest first.
    pub points: Vec<Point>,
    pub change: Change,
    /// Since when it has been as bad as now or worse.
    pub since: Option<NaiveDate>,
}

/// Two observers who assessed the same animals.
#[derive(Clone, Debug, PartialEq)]
pub struct ObserverPair {
    /// Names, as far as the caller may see them.
    pub first: String,
    pub second: String,
    /// Pairs of assessments.
    pub pairs: usize,
    pub indicators: BTreeMap<String, Agreement>,
    pub domains: BTreeMap<Domain, OfDomain>,
}

/// An animal that was not assessed in time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnassessedAnimal {
    pub animal: Label,
    pub enclosure: String,
    pub last_on: Option<NaiveDate>,
    /// Due day of a check of it that is overdue.
    pub overdue_since: Option<NaiveDate>,
}

/// A group of which somebody was not assessed in time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnassessedGroup {
    pub id: Uuid,
    pub name: String,
    pub members: usize,
    /// Members that were assessed in time.
    pub assessed: usize,
}

/// Animals and groups that were not assessed in time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unassessed {
    /// Longest ago first.
    pub animals: Vec<UnassessedAnimal>,
    pub groups: Vec<UnassessedGroup>,
    /// How many animals the site holds.
    pub held: usize,
    pub within_days: u16,
    pub as_of: NaiveDate,
    /// Checks of which nothing could be told.
    pub unreadable: Vec<Unreadable>,
}
