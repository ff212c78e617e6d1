//! What stands behind the columns of a stock return.

use super::fact::Fact;
use super::row::row;
use super::{Thing, day, short, some, spoken};
use crate::output::{Page, Table};
use crate::session::Zones;
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// What one animal or one litter adds to a column. Counts are males.females.unknown.
#[derive(Clone, Serialize)]
pub(crate) struct StockEntry {
    column: &'static str,
    scientific_name: String,
    common_name: String,
    site: String,
    counted_on: Option<String>,
    counts: String,
    /// None for young that are counted in a litter.
    accession: Option<String>,
    house_name: Option<String>,
    animal_id: Option<String>,
    litter_id: Option<String>,
    record_id: Option<String>,
    facts: Vec<Fact>,
    #[serde(skip)]
    adds: [i64; 3],
}

row! {
    /// A line for an animal or a litter.
    Row of entry: StockEntry {
        column, scientific_name, common_name, site, counted_on, counts, accession, house_name, animal_id, litter_id,
        record_id, what: entry.what(),
    }
}

impl StockEntry {
    pub(crate) fn new(entry: v1::StockEntry, zones: &Zones) -> Self {
        let column = entry.column().word();
        let (taxon, counts) = (entry.taxon.unwrap_or_default(), entry.counts.unwrap_or_default());
        let zone = zones.of(&entry.site);
        let animal = entry.animal;
        Self {
            column,
            scientific_name: taxon.scientific_name,
            common_name: taxon.common_name,
            counted_on: day(entry.counted_on),
            counts: counts.to_string(),
            accession: animal.as_ref().map(|animal| animal.accession.clone()),
            house_name: animal.as_ref().and_then(|animal| some(animal.house_name.clone())),
            animal_id: animal.map(|animal| animal.id),
            litter_id: some(entry.litter_id),
            record_id: some(entry.record_id),
            facts: entry.facts.into_iter().map(|fact| Fact::new(fact, zone)).collect(),
            site: entry.site,
            adds: [counts.males, counts.females, counts.unknown],
        }
    }

    fn who(&self) -> String {
        match (&self.accession, &self.litter_id) {
            (Some(accession), _) => spoken(self.house_name.as_deref(), accession),
            (None, litter) => format!("litter {}", short(litter.as_deref().unwrap_or_default())),
        }
    }

    /// The facts that it rests on, in words.
    fn what(&self) -> String {
        self.facts.iter().map(|fact| fact.say.as_str()).collect::<Vec<_>>().join("; ")
    }
}

impl Thing for StockEntry {
    const MANY: &'static str = "entries";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(entries: &[Self], page: &mut Page) {
        let key = |entry: &Self| (entry.site.clone(), entry.scientific_name.clone(), entry.column);
        for part in entries.chunk_by(|one, next| key(one) == key(next)) {
            let Some(first) = part.first() else { continue };
            let [males, females, unknown] =
                [0, 1, 2].map(|sex| part.iter().map(|entry| entry.adds[sex]).sum::<i64>());
            let sum = v1::Counts { males, females, unknown };
            page.heading(&format!(
                "{}, {}, {}: {sum} {}",
                first.site, first.scientific_name, first.common_name, first.column
            ));
            let mut table = Table::new(["Day", "Animal", "Counts", "What is recorded", "Record"]);
            for entry in part {
                table.row([
                    entry.counted_on.clone().unwrap_or_default(),
                    entry.who(),
                    entry.counts.clone(),
                    entry.what(),
                    short(entry.record_id.as_deref().unwrap_or_default()).to_owned(),
                ]);
            }
            page.table(&table);
        }
        page.remark("Counts are males.females.unknown. Each heading is the sum of its lines, and the column of the return.");
    }
}
