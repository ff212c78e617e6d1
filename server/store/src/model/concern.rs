//! Concerns: what the audit module raised, and their life.

use crate::model::animal::Label;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What a concern is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ConcernKind {
    WeightTrend,
    ScaleRefused,
    GroupWeight,
    ScaleOff,
    Growth,
    PushedOut,
    Climate,
    DeviceSilent,
}

/// Animals of one species that live in one enclosure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Household {
    pub enclosure: String,
    /// Scientific name.
    pub taxon: String,
}

impl Household {
    /// As people would say it: `Lontra canadensis in Weir`.
    #[must_use]
    pub fn spoken(&self) -> String {
        format!("{} in {}", self.taxon, self.enclosure)
    }
}

/// Whom a concern is about.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum About {
    Animal(Label),
    Household(Household),
    /// A device in an enclosure, and so the house itself.
    Device {
        name: String,
        enclosure: String,
    },
}

/// How soon to look.
pub use holt_audit::episode::Severity as Level;

/// Where a concern stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ConcernState {
    Raised,
    TakenUp,
    Settled,
}

impl ConcernKind {
    /// Whether whoever settles one says as what: the model goes by it.
    #[must_use]
    pub const fn is_settled_as(self) -> bool {
        matches!(self, Self::WeightTrend | Self::Growth | Self::GroupWeight)
    }
}

/// As what a person settles a concern about weight.
pub use holt_audit::expected::Settled as SettledAs;

/// A number that a concern rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    pub name: String,
    pub value: f64,
    pub unit: String,
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// What the audit module has to say of an animal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Content {
    pub level: Level,
    pub seen: String,
    pub look_first: String,
    pub figures: Vec<Figure>,
    pub record_ids: Vec<Uuid>,
}

/// A concern.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Concern {
    pub id: Uuid,
    pub site: String,
    pub about: About,
    pub kind: ConcernKind,
    pub state: ConcernState,
    pub content: Content,
    pub raised_at: DateTime<Utc>,
    pub changed_at: DateTime<Utc>,
    pub taken_up_by: String,
    pub settled_because: String,
    pub settled_as: Option<SettledAs>,
    pub age_days: i32,
    pub version: i64,
}

/// What a concern is and is not; printed wherever concerns are read.
pub const CAUTION: &str = "Holt shows what is on record. It is not a diagnosis and does not replace your \
    vet, your licence or local law.";
