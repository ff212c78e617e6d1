//! Proposals: changes of what all sites share, that a site proposes and a curator decides on.

use crate::model::amendment::Answer;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use uuid::Uuid;

/// A change that was proposed, and what became of it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Proposal {
    pub id: Uuid,
    /// Code of the site that made it.
    pub site: String,
    pub site_id: Uuid,
    /// The very change, as the rules read it.
    pub change: Value,
    /// The same in words.
    pub says: String,
    pub because: String,
    pub at: DateTime<Utc>,
    /// Empty where the reader may not know.
    pub by: String,
    /// None while it is open. A curator's is no site's.
    pub answer: Option<Answer>,
}
