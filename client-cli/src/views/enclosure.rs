//! Enclosures.

use super::Thing;
use crate::output::{Page, Table, Tone};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// A place at a site where animals live.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Enclosure {
    pub(crate) name: String,
    pub(crate) site: String,
    kind: &'static str,
    /// None where not stated.
    capacity: Option<i32>,
    occupants: i32,
    id: String,
}

impl From<v1::Enclosure> for Enclosure {
    fn from(enclosure: v1::Enclosure) -> Self {
        Self {
            kind: enclosure.kind().word(),
            name: enclosure.name,
            site: enclosure.site,
            capacity: (enclosure.capacity > 0).then_some(enclosure.capacity),
            occupants: enclosure.occupants,
            id: enclosure.id,
        }
    }
}

impl Thing for Enclosure {
    const MANY: &'static str = "enclosures";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(enclosures: &[Self], page: &mut Page) {
        let mut table = Table::new(["Enclosure", "Kind", "Animals", "Capacity"]).numbers([2, 3]);
        for enclosure in enclosures {
            let full = enclosure.capacity.is_some_and(|capacity| enclosure.occupants > capacity);
            table.toned([
                (Tone::Calm, enclosure.name.clone()),
                (Tone::Calm, enclosure.kind.to_owned()),
                (if full { Tone::Warning } else { Tone::Calm }, enclosure.occupants.to_string()),
                (Tone::Calm, enclosure.capacity.map(|most| most.to_string()).unwrap_or_default()),
            ]);
        }
        page.table(&table);
    }
}
