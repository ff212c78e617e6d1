//! Feeding: foods, what was given, and how a group is fed.

mod account;
mod feed;
mod need;
mod plan;
mod today;

pub(crate) use account::Feeding;
pub(crate) use feed::{Feed, Given};
pub(crate) use plan::{Plan, Planned};
pub(crate) use today::Today;

use super::{Thing, some};
use crate::output::{Page, Table};
use holt_proto::notation::energy;
use holt_proto::v1;
use serde::Serialize;

/// A food.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Food {
    site: String,
    pub(crate) name: String,
    kcal_per_g: f64,
    source: String,
    note: Option<String>,
    id: String,
}

impl From<v1::Food> for Food {
    fn from(food: v1::Food) -> Self {
        Self {
            site: food.site,
            name: food.name,
            kcal_per_g: food.kcal_per_g,
            source: food.source,
            note: some(food.note),
            id: food.id,
        }
    }
}

impl Food {
    pub(crate) fn energy(&self) -> String {
        energy::print(self.kcal_per_g)
    }
}

impl Thing for Food {
    const MANY: &'static str = "foods";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(foods: &[Self], page: &mut Page) {
        let mut table = Table::new(["Food", "Energy", "By", "Note"]).numbers([1]);
        for food in foods {
            table.row([
                food.name.clone(),
                food.energy(),
                food.source.clone(),
                food.note.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}
