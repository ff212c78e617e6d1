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
    /// When, and by which transfer, it was put on the road to another site that has not received it; the site holds it
    /// until then.
    pub left: Option<(DateTime<Utc>, Uuid)>,
}

impl Holding {
    /// Whether it covers an instant.
    #[must_use]
    pub fn covers(&self, at: DateTime<Utc>) -> bool {
        self.began_at <= at && self.ended_at.is_none_or(|end| at < end)
    }

    /// The transfer by which the animal was on the road then: held, and with nobody who could weigh it.
    #[must_use]
    pub fn on_the_road(&self, at: DateTime<Utc>) -> Option<Uuid> {
        self.left.filter(|(left, _)| *left < at).map(|(_, transfer)| transfer)
    }

    /// Whether the site had the animal with it at an instant.
    #[must_use]
    pub fn has_it(&self, at: DateTime<Utc>) -> bool {
        self.covers(at) && self.on_the_road(at).is_none()
    }

    /// The instant in a stretch nearest to `wanted` at which the site had the animal with it; none where there is none.
    #[must_use]
    pub fn nearest(
        &self,
        wanted: DateTime<Utc>,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Option<DateTime<Utc>> {
        let low = from.max(self.began_at);
        let high = self
            .ended_at
            .or(self.left.map(|(at, _)| at))
            .map_or(to, |end| to.min(end - chrono::TimeDelta::microseconds(1)));
        (low <= high).then(|| wanted.clamp(low, high))
    }
}

/// A day on which something happened to an animal, and the instant where that is known too.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct When {
    pub day: NaiveDate,
    pub at: Option<DateTime<Utc>>,
}
