//! What moving animals into an enclosure comes to.

use super::count;
use crate::output::{Answer, Page, Tone};
use holt_proto::v1;
use serde::Serialize;

/// Animals that were moved.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Placed {
    site: String,
    enclosure: String,
    moved: i32,
    occupants: i32,
    over_capacity: bool,
}

impl Placed {
    pub(crate) fn new(site: String, enclosure: String, answer: v1::PlaceAnimalsResponse) -> Self {
        Self {
            site,
            enclosure,
            moved: answer.moved,
            occupants: answer.occupants,
            over_capacity: answer.over_capacity,
        }
    }
}

impl Answer for Placed {
    type Row = Self;

    fn rows(&self) -> Vec<Self> {
        vec![self.clone()]
    }

    fn page(&self, page: &mut Page) {
        let number = |n: i32| usize::try_from(n).unwrap_or_default();
        page.line(&format!(
            "{} moved into {}; {} there now.",
            count(number(self.moved), "animal", "animals"),
            self.enclosure,
            count(number(self.occupants), "lives", "live"),
        ));
        if self.over_capacity {
            let more = page.paint(Tone::Warning, "That is more than its capacity.");
            page.line(&more);
        }
    }
}
