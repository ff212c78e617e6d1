//! Standards: what a site's records answer to each clause of a law or a published standard.

use crate::model::document::Basis;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::standard::{Clause, Standard};
use uuid::Uuid;

/// What a clause counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SubjectKind {
    Animal,
    Litter,
    Group,
    Enclosure,
    Device,
    Transfer,
    Concern,
    Site,
}

/// One of the things that a clause counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    pub kind: SubjectKind,
    pub id: Uuid,
}

/// What the records answer. The order is that of the report: the worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Answer {
    Short,
    NoEvidence,
    /// Holt does not look at this evidence here; never taken for met.
    NotComputed,
    Met,
    NotApplicable,
}

/// One that does not fulfil a clause.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exception {
    pub subject: Key,
    /// Its name, for people.
    pub name: String,
    /// What is wrong, in words.
    pub what: String,
    /// The day that it is about.
    pub day: Option<NaiveDate>,
    /// The record that shows it, or the last before.
    pub record: Option<Uuid>,
}

/// A clause and its answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answered {
    pub clause: Clause,
    pub answer: Answer,
    /// How many fulfil it.
    pub numerator: u32,
    /// Of how many.
    pub denominator: u32,
    /// Worst first, no more than were asked for.
    pub exceptions: Vec<Exception>,
    /// Exceptions beyond those.
    pub more: usize,
    /// How far the answer can be relied on; empty where there is nothing to say.
    pub remark: String,
}

/// What the records of a site answer to a standard.
#[derive(Clone, Debug)]
pub struct Answers {
    pub site: String,
    pub name: String,
    pub licence: String,
    pub standard: Standard,
    /// Why it is this version.
    pub basis: Basis,
    pub first: NaiveDate,
    pub last: NaiveDate,
    pub as_known_at: DateTime<Utc>,
    /// Worst first.
    pub clauses: Vec<Answered>,
}
