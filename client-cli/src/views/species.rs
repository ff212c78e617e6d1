//! Species.

use super::Thing;
use crate::output::{Page, Table};
use holt_proto::v1;
use serde::Serialize;

/// A species or subspecies.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Species {
    pub(crate) scientific_name: String,
    pub(crate) common_name: String,
    breeds_from_days: Option<i32>,
    carries_up_to_days: Option<i32>,
    id: String,
}

impl From<v1::Taxon> for Species {
    fn from(taxon: v1::Taxon) -> Self {
        let stated = |days: i32| (days != 0).then_some(days);
        Self {
            breeds_from_days: stated(taxon.breeds_from_days),
            carries_up_to_days: stated(taxon.carries_up_to_days),
            scientific_name: taxon.scientific_name,
            common_name: taxon.common_name,
            id: taxon.id,
        }
    }
}

impl Thing for Species {
    const MANY: &'static str = "species";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(species: &[Self], page: &mut Page) {
        let mut table = Table::new(["Scientific name", "Common name"]);
        for each in species {
            table.row([each.scientific_name.clone(), each.common_name.clone()]);
        }
        page.table(&table);
    }
}
