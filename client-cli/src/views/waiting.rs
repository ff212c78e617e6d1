//! What became of a reading that waited.

use super::CHECKED_ONLY;
use super::concern::Concern;
use super::weight::Weight;
use crate::output::{Answer, Page};
use crate::session::Zones;
use holt_proto::v1;
use serde::Serialize;

/// What a person did with it.
#[derive(Clone, Copy, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Done {
    Accepted,
    Withdrawn,
}

/// A reading that was accepted or withdrawn.
#[derive(Serialize)]
pub(crate) struct Answered {
    reading: Weight,
    done: Done,
    recorded: bool,
    concerns: Vec<Concern>,
}

impl Answered {
    pub(crate) fn new(
        reading: v1::Weight,
        done: Done,
        recorded: bool,
        concerns: Vec<v1::Concern>,
        zones: &Zones,
    ) -> Self {
        let zone = zones.of(&reading.site);
        Self {
            reading: Weight::new(reading, zone),
            done,
            recorded,
            concerns: concerns.into_iter().map(|concern| Concern::new(concern, zones)).collect(),
        }
    }
}

impl Answer for Answered {
    type Row = super::weight::Row;

    fn rows(&self) -> Vec<Self::Row> {
        vec![super::Thing::row(&self.reading)]
    }

    fn page(&self, page: &mut Page) {
        if !self.recorded {
            page.line(CHECKED_ONLY);
        }
        let what = match self.done {
            Done::Accepted => "is accepted and counts",
            Done::Withdrawn => "is withdrawn and does not count",
        };
        page.line(&format!("{} {what}.", self.reading.spoken()));
        for concern in &self.concerns {
            page.line(&concern.line(page));
        }
    }
}
