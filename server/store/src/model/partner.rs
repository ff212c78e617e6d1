//! Partners for animals that must leave, as cards of other sites.

use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::pairing::{Taken, Weights, Why};
use holt_audit::terms::Sex;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Said wherever partners are proposed.
pub const CAUTION: &str = "Holt shows what is on record. A proposal does not replace the coordinator of a breeding programme, your \
     veterinary surgeon, your licence or local law. Ask the other site before you plan.";

/// A search.
#[derive(Clone, Debug)]
pub struct Search {
    pub animals: Vec<String>,
    /// The most that young may be inbred, 0 to 1.
    pub limit: f64,
    pub also_taken: bool,
    pub weights: Weights,
    /// The most cards that are told.
    pub most: usize,
}

/// A living animal of the species, as it is compared.
#[derive(Clone, Debug)]
pub struct Living {
    pub animal: Uuid,
    pub site: Uuid,
    pub sex: Sex,
    /// First and last day on which it may have been born.
    pub born: Option<(NaiveDate, NaiveDate)>,
    pub taken: Option<Taken>,
    /// Places that its enclosure has left.
    pub room: Option<i32>,
}

/// What a site shows of a partner.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Card {
    pub animal: Uuid,
    pub site: String,
    pub sex: Sex,
    /// Whole years, at least.
    pub age_years: Option<u32>,
    pub kinship: f64,
    pub may_be: f64,
    pub known: f64,
    pub mean_kinship: f64,
    pub diversity_change: f64,
    pub taken: Option<Taken>,
    pub room: Option<i32>,
    pub kilometres: Option<f64>,
    pub abroad: bool,
    pub papers: Vec<String>,
    pub why: String,
    pub against: f64,
}

/// What a search found.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Found {
    pub partners: Vec<Card>,
    /// How many more there are.
    pub more: usize,
    /// By site and reason: how many.
    pub left_out: Vec<(String, Why, u32)>,
    /// How many animals were compared.
    pub compared: usize,
    pub gene_diversity: f64,
    /// Other sites that show cards.
    pub sites: Vec<String>,
    pub assumption: String,
}

/// What a site shows to others.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Terms {
    pub site: String,
    pub shows_cards: bool,
    pub note: String,
    /// None where it has not said anything.
    pub recorded_at: Option<DateTime<Utc>>,
}

/// A search on record.
#[derive(Clone, Debug)]
pub struct Searched {
    pub id: Uuid,
    pub site: String,
    pub taxon: String,
    pub cards: i32,
    pub at: DateTime<Utc>,
}
