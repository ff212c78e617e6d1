//! Litters.

use super::animal::{Animal, Row as AnimalRow};
use super::crate_reading::{CrateReading, weighed_together};
use super::row::row;
use super::{CHECKED_ONLY, Thing, day, short, some, spoken, written};
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A parent, by name.
#[derive(Clone, Serialize)]
struct Parent {
    accession: String,
    house_name: Option<String>,
    share: f64,
    id: String,
}

/// Something that happened to the count.
#[derive(Clone, Serialize)]
struct Change {
    on: Option<String>,
    what: &'static str,
    /// males.females.unknown
    young: String,
    animal: Option<String>,
    manner: Option<&'static str>,
    note: Option<String>,
    recorded_at: Option<String>,
    id: String,
}

/// A litter, as of a day. Counts are males.females.unknown.
#[derive(Clone, Serialize)]
pub(crate) struct Litter {
    site: String,
    born_on: Option<String>,
    scientific_name: String,
    common_name: String,
    dam: Option<Parent>,
    sires: Vec<Parent>,
    pub(crate) born: String,
    died: String,
    told_apart: String,
    pub(crate) remaining: String,
    changes: Vec<Change>,
    parents_because: Option<String>,
    note: Option<String>,
    pub(crate) id: String,
    version: i64,
}

row! {
    /// A litter as a line.
    Row of one: Litter {
        born_on, scientific_name, dam: one.dam.as_ref().map(Parent::spoken), sires: one.sires(), born, died,
        told_apart, remaining, note, id,
    }
}

fn parent(label: v1::AnimalLabel, share: f64) -> Parent {
    Parent { accession: label.accession, house_name: some(label.house_name), share, id: label.id }
}

impl Parent {
    /// The parents of an animal may be for another site to see: then the id says which it is.
    fn spoken(&self) -> String {
        if self.accession.is_empty() {
            format!("recorded (id {})", short(&self.id))
        } else {
            spoken(self.house_name.as_deref(), &self.accession)
        }
    }
}

impl Change {
    fn new(change: v1::LitterChange, zone: Tz) -> Self {
        let (what, manner) = (change.kind().word(), change.manner().word());
        Self {
            on: day(change.happened_on),
            what,
            young: change.young.unwrap_or_default().to_string(),
            animal: change.animal.map(|animal| parent(animal, 1.0).spoken()),
            manner: (!manner.is_empty()).then_some(manner),
            note: some(change.note),
            recorded_at: written(change.recorded_at, zone),
            id: change.id,
        }
    }

    fn spoken(&self) -> String {
        let more = self.animal.iter().map(|animal| format!(": {animal}"));
        let more = more.chain(self.manner.iter().map(|manner| format!(", {manner}")));
        let note = self.note.iter().map(|note| format!(": {note}"));
        format!("{} {}{}", self.what, self.young, more.chain(note).collect::<String>())
    }
}

impl Litter {
    pub(crate) fn new(litter: v1::Litter, zone: Tz) -> Self {
        let taxon = litter.taxon.unwrap_or_default();
        let text = |counts: Option<v1::Counts>| counts.unwrap_or_default().to_string();
        let sires = litter.sires.into_iter();
        Self {
            site: litter.site,
            born_on: day(litter.born_on),
            scientific_name: taxon.scientific_name,
            common_name: taxon.common_name,
            dam: litter.dam.map(|dam| parent(dam, 1.0)),
            sires: sires.map(|sire| parent(sire.animal.unwrap_or_default(), sire.share)).collect(),
            born: text(litter.born),
            died: text(litter.died),
            told_apart: text(litter.told_apart),
            remaining: text(litter.remaining),
            changes: litter.changes.into_iter().map(|change| Change::new(change, zone)).collect(),
            parents_because: some(litter.parents_because),
            note: some(litter.note),
            id: litter.id,
            version: litter.version,
        }
    }

    /// `The litter of Sedge (QUI-25-0002) born 2026-03-01`.
    pub(crate) fn spoken(&self) -> String {
        let of = self.dam.as_ref().map(|dam| format!(" of {}", dam.spoken())).unwrap_or_default();
        format!("The litter{of} born {}", self.born_on.as_deref().unwrap_or_default())
    }

    fn sires(&self) -> String {
        let each = self.sires.iter().map(|sire| {
            let share = (sire.share * 100.0).round();
            if share >= 100.0 { sire.spoken() } else { format!("{} {share} %", sire.spoken()) }
        });
        each.collect::<Vec<_>>().join(" or ")
    }
}

impl Thing for Litter {
    const MANY: &'static str = "litters";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(litters: &[Self], page: &mut Page) {
        let heads = ["Born on", "Dam", "Sire", "Born", "Died", "Identified", "Remaining", "Id"];
        let mut table = Table::new(heads).numbers([3, 4, 5, 6]);
        for litter in litters {
            table.row([
                litter.born_on.clone().unwrap_or_default(),
                litter.dam.as_ref().map(Parent::spoken).unwrap_or_default(),
                litter.sires(),
                litter.born.clone(),
                litter.died.clone(),
                litter.told_apart.clone(),
                litter.remaining.clone(),
                short(&litter.id).to_owned(),
            ]);
        }
        page.table(&table);
        page.remark("Counts are males.females.unknown.");
    }
}

/// A litter with everything that happened in it, and what its young weighed together.
#[derive(Serialize)]
pub(crate) struct Shown {
    #[serde(flatten)]
    litter: Litter,
    crate_readings: Vec<CrateReading>,
}

impl Shown {
    pub(crate) fn new(answer: v1::GetLitterResponse, zone: Tz) -> Self {
        let readings = answer.crate_readings.into_iter();
        Self {
            litter: Litter::new(answer.litter.unwrap_or_default(), zone),
            crate_readings: readings.map(|reading| CrateReading::new(reading, zone)).collect(),
        }
    }
}

impl Answer for Shown {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        vec![self.litter.row()]
    }

    fn page(&self, page: &mut Page) {
        let litter = &self.litter;
        page.heading(&litter.spoken());
        page.line(&format!("{}, {}", litter.scientific_name, litter.common_name));
        page.gap();
        let mut table = Table::new(["", ""]);
        table.row(["Remaining".to_owned(), format!("{} (males.females.unknown)", litter.remaining)]);
        let dam = litter.dam.as_ref().map_or_else(|| "not known".to_owned(), Parent::spoken);
        table.row(["Dam".to_owned(), dam]);
        let sires = if litter.sires.is_empty() { "not known".to_owned() } else { litter.sires() };
        table.row(["Sire".to_owned(), sires]);
        for (what, text) in [("Accepted because", &litter.parents_because), ("Note", &litter.note)] {
            if let Some(text) = text {
                table.row([what.to_owned(), text.clone()]);
            }
        }
        page.table(&table);
        page.gap();
        for change in &litter.changes {
            let on = change.on.as_deref().unwrap_or_default();
            page.hanging(&format!("{on}  {} [{}]", change.spoken(), short(&change.id)), 12);
        }
        weighed_together(&self.crate_readings, page);
        page.remark(&format!("id {}, version {}", litter.id, litter.version));
    }
}

/// A young that was told apart, and its litter without it.
#[derive(Serialize)]
pub(crate) struct Identified {
    animal: Animal,
    litter: Litter,
    #[serde(skip)]
    check_only: bool,
}

impl Identified {
    pub(crate) fn new(answer: v1::TellApartResponse, zone: Tz, check_only: bool) -> Self {
        Self {
            animal: Animal::new(answer.animal.unwrap_or_default(), zone),
            litter: Litter::new(answer.litter.unwrap_or_default(), zone),
            check_only,
        }
    }
}

impl Answer for Identified {
    type Row = AnimalRow;

    fn rows(&self) -> Vec<AnimalRow> {
        vec![self.animal.row()]
    }

    fn page(&self, page: &mut Page) {
        if self.check_only {
            page.line(CHECKED_ONLY);
            return;
        }
        let (animal, litter) = (&self.animal, &self.litter);
        page.line(&format!(
            "Identified {}: {}, {}. {}: {} remaining.",
            animal.spoken(),
            animal.scientific_name,
            animal.sex,
            litter.spoken(),
            litter.remaining
        ));
    }
}
