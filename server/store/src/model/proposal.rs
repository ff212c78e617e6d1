//! Proposals: changes of what all sites share, that a site proposes and a curator decides on.

use crate::model::amendment::Answer;
use crate::model::document::Kind;
use crate::model::taxon::TaxonChange;
use crate::model::traits::Traits;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A change of what all sites share.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// A species by its name is called or described otherwise.
    Species(String, Box<TaxonChange>),
    /// Something else is usual in a species.
    Traits(String, Traits),
    /// A new version of a shared document, as it is written.
    Document(Kind, String),
}

/// What stands where a change is to be made. One that was proposed is made only if the same stands still.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Stood {
    /// The species; none for a document, which takes the place of nothing.
    pub species: Option<Uuid>,
    /// What it is called and described by where that is to change, as the change that would put it back.
    pub described: Option<Box<TaxonChange>>,
    /// What is usual in it where something else is to be; none also where nothing was said.
    pub traits: Option<Traits>,
}

/// The document of a proposal: the very change, and what it was proposed instead of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Proposed {
    pub change: Change,
    pub stood: Stood,
}

/// A change that was proposed, and what became of it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Proposal {
    pub id: Uuid,
    /// Code of the site that made it.
    pub site: String,
    pub site_id: Uuid,
    pub proposed: Proposed,
    /// The same in words.
    pub says: String,
    pub because: String,
    pub at: DateTime<Utc>,
    /// Empty where the reader may not know.
    pub by: String,
    /// None while it is open. The answer of a curator is no site's.
    pub answer: Option<Answer>,
}
