//! A site as of a day.

use crate::model::animal::Label;
use crate::model::check::{DueItem, Duty};
use crate::model::concern::Concern;
use crate::model::taxon::Taxon;
use crate::model::transfer::Transfer;
use crate::model::unreadable::Unreadable;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Counts;

/// How far a duty was done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DutyCoverage {
    pub duty: Duty,
    pub due: usize,
    pub in_time: usize,
    pub late: usize,
    pub missed: usize,
    pub open: usize,
    pub without_check: Vec<Label>,
    pub not_done: Vec<Label>,
}

/// A site as of a day.
#[derive(Clone, Debug, PartialEq)]
pub struct SiteDay {
    pub site: String,
    pub name: String,
    pub stock: Vec<(Taxon, Counts)>,
    pub total: Counts,
    pub coverage: Vec<DutyCoverage>,
    pub overdue: Vec<DueItem>,
    pub concerns: Vec<Concern>,
    pub transfers: Vec<Transfer>,
    /// Loans that end soon or should have ended.
    pub loans_ending: Vec<DueItem>,
    /// Checks of which nothing could be told.
    pub unreadable: Vec<Unreadable>,
}

/// Sites as of a day.
#[derive(Clone, Debug, PartialEq)]
pub struct SiteDays {
    pub sites: Vec<SiteDay>,
    pub as_of: NaiveDate,
    pub first: NaiveDate,
    pub as_known_at: DateTime<Utc>,
}
