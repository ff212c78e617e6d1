//! The wire: decode, ask the records, encode. One file per service, named as the protos.

pub mod amendments;
pub mod animals;
pub mod assessments;
mod bounds;
pub mod caller;
pub mod census;
pub mod checks;
pub mod climate;
pub mod concerns;
pub mod corrections;
mod decode;
pub mod documents;
mod encode;
pub mod encounters;
pub mod enrichment;
pub mod ethograms;
pub mod exchange;
pub mod feeding;
pub mod find;
pub mod groups;
pub mod growth;
pub mod history;
pub mod kinship;
pub mod ledger;
pub mod life_states;
pub mod litters;
pub mod loans;
pub mod marks;
pub mod merges;
pub mod packets;
mod pages;
pub mod papers;
pub mod partners;
pub mod people;
pub mod placements;
pub mod proposals;
pub mod reports;
pub mod shield;
pub mod sites;
pub mod standards;
pub mod standing;
pub mod status;
pub mod streams;
pub mod titles;
pub mod transfers;
pub mod turns;
pub mod upsets;
pub mod watches;
pub mod weights;
pub mod welfare;

use crate::records::Records;
use pages::Pages;
use std::sync::Arc;
use streams::Streams;

/// What every service needs.
#[derive(Clone)]
pub struct Api {
    records: Records,
    pages: Arc<Pages>,
    streams: Streams,
    /// The largest import that is taken in one request, bytes.
    most_taken_in: usize,
}

impl Api {
    /// Services over `records`; page tokens are authenticated with `page_secret`.
    #[must_use]
    pub fn new(records: Records, page_secret: [u8; 32], streams: Streams, most_taken_in: usize) -> Self {
        Self { records, pages: Arc::new(Pages::new(page_secret)), streams, most_taken_in }
    }
}
