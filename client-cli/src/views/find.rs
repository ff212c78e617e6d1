//! Animals that were found by a part of what they go by.

use crate::output::{Answer, Page, Table};
use crate::session::Zones;
use crate::views::animal::Animal;
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// An animal, and what it was found by.
#[derive(Serialize)]
pub(crate) struct Match {
    /// Kind of the mark, or `accession` or `id`.
    found_by: &'static str,
    text: String,
    nearness: &'static str,
    /// Whether it goes by it still.
    in_force: bool,
    animal: Animal,
}

/// All that were found.
#[derive(Serialize)]
pub(crate) struct Found {
    pub(crate) found: Vec<Match>,
    pub(crate) more: bool,
}

/// A match as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    accession: String,
    house_name: Option<String>,
    scientific_name: String,
    sex: &'static str,
    status: &'static str,
    holder: Option<String>,
    enclosure: Option<String>,
    went_to: Option<String>,
    found_by: &'static str,
    text: String,
    nearness: &'static str,
    in_force: bool,
    id: String,
}

impl Match {
    pub(crate) fn new(one: v1::Match, zones: &Zones) -> Self {
        let found_by = match one.found_by() {
            v1::FoundBy::Mark => one.mark_kind().word(),
            other => other.word(),
        };
        let nearness = one.nearness().word();
        let animal = one.animal.unwrap_or_default();
        let zone = zones.of(&animal.holder);
        Self { found_by, text: one.text, nearness, in_force: one.in_force, animal: Animal::new(animal, zone) }
    }

    /// `transponder 985112000123456`, with a word where it is so no more.
    fn by(&self) -> String {
        let once = if self.in_force { "" } else { ", once" };
        format!("{} {}{once}", self.found_by, self.text)
    }
}

impl Answer for Found {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let row = |one: &Match| {
            let animal = &one.animal;
            Row {
                accession: animal.accession.clone(),
                house_name: animal.house_name.clone(),
                scientific_name: animal.scientific_name.clone(),
                sex: animal.sex,
                status: animal.status,
                holder: animal.holder.clone(),
                enclosure: animal.enclosure.clone(),
                went_to: animal.went_to.clone(),
                found_by: one.found_by,
                text: one.text.clone(),
                nearness: one.nearness,
                in_force: one.in_force,
                id: animal.id.clone(),
            }
        };
        self.found.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        let mut table = Table::new(["Animal", "Species", "Sex", "Location", "Found by"]);
        for one in &self.found {
            let animal = &one.animal;
            table.row([
                animal.spoken(),
                animal.common_name.clone(),
                animal.sex.to_owned(),
                animal.standing(),
                one.by(),
            ]);
        }
        page.table(&table);
        if self.more {
            page.remark("There are more: write more of the name or number, or use --limit.");
        }
    }
}
