//! Stock returns: how many animals there were, how many came and went, and that it adds up.

use crate::model::animal::Label;
use crate::model::fact::Told;
use crate::model::page::Slice;
use crate::model::taxon::Taxon;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::census::{Column, Line, Litter, Stay, Who};
use holt_audit::terms::Counts;
use uuid::Uuid;

/// What the books of some sites say over a stretch of days.
#[derive(Clone, Debug, Default)]
pub struct Books {
    pub stays: Vec<Stay<Uuid, Uuid, Uuid>>,
    /// The record of each stay.
    pub of_stays: Vec<Uuid>,
    pub litters: Vec<Litter<Uuid, Uuid, Uuid>>,
    /// The records of what happened to each litter.
    pub of_litters: Vec<Vec<Uuid>>,
}

/// What one animal or one litter adds to a column of a return.
#[derive(Clone, Debug)]
pub struct StockEntry {
    pub column: Column,
    pub taxon: Taxon,
    /// Code of the site.
    pub site: String,
    pub day: NaiveDate,
    pub counts: Counts,
    pub who: Who<Label, Uuid>,
    pub record: Option<Uuid>,
    /// What it rests on.
    pub facts: Vec<Told>,
}

/// A page of what stands behind the columns of returns.
#[derive(Clone, Debug)]
pub struct StockEntries {
    pub entries: Slice<StockEntry>,
    pub as_known_at: DateTime<Utc>,
}

/// The return of a site, or of several together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StockReturn {
    /// Codes.
    pub sites: Vec<String>,
    /// Name and licence of the site; empty where there are several.
    pub name: String,
    pub licence: String,
    /// By scientific name.
    pub lines: Vec<(Taxon, Line)>,
    pub total: Line,
    pub balances: bool,
    /// Animals whose death stands among the later ones because their birth is not known well enough.
    pub age_unsure: Vec<Label>,
    /// Animals that one of the sites had sent and another had not yet received.
    pub on_their_way: usize,
}

/// Returns of sites over the same days.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StockReturns {
    pub returns: Vec<StockReturn>,
    pub first: NaiveDate,
    pub last: NaiveDate,
    pub young_days: i64,
    pub as_known_at: DateTime<Utc>,
}
