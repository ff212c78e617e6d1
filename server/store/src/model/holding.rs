//! Holdings: who keeps an animal, as an interval.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How a holding began.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Began {
    Birth,
    Arrival,
    Transfer,
    /// Told apart from the litter in which it was counted until then.
    ToldApart,
}

/// How a holding ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ended {
    Death,
    Departure,
    Escape,
    Transfer,
}

/// Who keeps an animal, from when until when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Holding {
    pub animal: Uuid,
    pub site: Uuid,
    pub began_at: DateTime<Utc>,
    pub began_on: NaiveDate,
    pub ended_at: Option<DateTime<Utc>>,
    pub ended_on: Option<NaiveDate>,
    pub ended: Option<Ended>,
}

impl Holding {
    /// Whether it covers an instant.
    #[must_use]
    pub fn covers(&self, at: DateTime<Utc>) -> bool {
        self.began_at <= at && self.ended_at.is_none_or(|end| at < end)
    }

    /// The instant in a stretch that lies in this holding and nearest to `wanted`; none where they do
    /// not meet.
    #[must_use]
    pub fn nearest(
        &self,
        wanted: DateTime<Utc>,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Option<DateTime<Utc>> {
        let low = from.max(self.began_at);
        let high = self.ended_at.map_or(to, |end| to.min(end - chrono::TimeDelta::microseconds(1)));
        (low <= high).then(|| wanted.clamp(low, high))
    }
}

/// A day on which something happened to an animal, and the instant where that is known too.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct When {
    pub day: NaiveDate,
    pub at: Option<DateTime<Utc>>,
}
