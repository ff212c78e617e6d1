//! Welfare assessments by protocol.

use crate::model::animal::Label;
use chrono::{DateTime, Utc};
use holt_audit::welfare::Score;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What was found on one indicator.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    #[serde(flatten)]
    pub score: Score,
    /// What was seen.
    pub evidence: String,
}

/// An assessment to record.
#[derive(Clone, Debug)]
pub struct NewAssessment {
    pub animal: String,
    pub protocol: String,
    /// 0 for the newest.
    pub version: i32,
    pub at: Option<DateTime<Utc>>,
    pub findings: Vec<Finding>,
    pub note: String,
}

/// An assessment on record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Assessment {
    pub id: Uuid,
    pub site: String,
    pub animal: Label,
    pub protocol: String,
    pub protocol_version: i32,
    pub assessed_at: DateTime<Utc>,
    pub observer: String,
    /// The person, also where the caller may not see the name.
    pub observer_id: Uuid,
    pub findings: Vec<Finding>,
    pub note: String,
}
