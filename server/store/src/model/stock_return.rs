//! Stock returns: how many animals there were, how many came and went, and that it adds up.

use crate::model::animal::Label;
use crate::model::taxon::Taxon;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::census::{Line, Litter, Stay};
use uuid::Uuid;

/// What the books of some sites say over a stretch of days.
#[derive(Clone, Debug, Default)]
pub struct Books {
    pub stays: Vec<Stay<Uuid, Uuid, Uuid>>,
    pub litters: Vec<Litter<Uuid, Uuid, Uuid>>,
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
