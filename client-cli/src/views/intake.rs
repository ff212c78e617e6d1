//! Animals that were to be taken in from other books.

use super::concern::Concern;
use super::{CHECKED_ONLY, count, some};
use crate::exchange::Fault;
use crate::exchange::send::{Answered, Sent};
use crate::output::{Answer, Page, Tone};
use crate::session::Zones;
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// What became of all of them.
#[derive(Serialize)]
pub(crate) struct Intake {
    site: String,
    checked_only: bool,
    pub(crate) written: bool,
    taken_in: usize,
    on_record: usize,
    pub(crate) refused: usize,
    species_added: Vec<String>,
    enclosures_added: Vec<String>,
    animals: Vec<Animal>,
    concerns: Vec<Concern>,
    caution: Option<String>,
}

/// What became of one.
#[derive(Serialize)]
struct Animal {
    #[serde(skip_serializing_if = "str::is_empty")]
    file: &'static str,
    row: Option<u64>,
    name: String,
    outcome: &'static str,
    accession: Option<String>,
    animal_id: Option<String>,
    faults: Vec<Told>,
}

/// One thing that is wrong with it.
#[derive(Serialize)]
struct Told {
    #[serde(skip_serializing_if = "str::is_empty")]
    file: &'static str,
    row: Option<u64>,
    column: String,
    say: String,
    mend: String,
}

/// An animal, or one thing that is wrong with it, as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    file: &'static str,
    row: Option<u64>,
    name: String,
    outcome: &'static str,
    accession: Option<String>,
    column: Option<String>,
    say: Option<String>,
    instead: Option<String>,
    animal_id: Option<String>,
}

impl Intake {
    pub(crate) fn new(site: &str, checked_only: bool, sent: Sent, zones: &Zones) -> Self {
        let of = |outcome| sent.answers.iter().filter(|answer| answer.outcome == outcome).count();
        let refused = of(v1::LifeOutcome::Refused);
        let concerns = sent.concerns.into_iter().map(|concern| Concern::new(concern, zones));
        Self {
            site: site.to_owned(),
            checked_only,
            written: sent.written,
            taken_in: of(v1::LifeOutcome::TakenIn),
            on_record: of(v1::LifeOutcome::OnRecord),
            refused,
            species_added: sent.taxa_added,
            enclosures_added: sent.enclosures_added,
            concerns: if checked_only {
                concerns.map(Concern::not_yet).collect()
            } else {
                concerns.collect()
            },
            caution: some(sent.caution),
            animals: sent.answers.into_iter().map(animal).collect(),
        }
    }

    fn summary(&self) -> String {
        let all = count(self.animals.len(), "animal", "animals");
        let known = match self.on_record {
            0 => String::new(),
            1 => "; 1 was already recorded and stays as it is".to_owned(),
            n => format!("; {n} were already recorded and stay as they are"),
        };
        if self.refused > 0 {
            let refused = count(self.refused, "is", "are");
            return format!("Of {all}, {refused} refused: nothing was added.");
        }
        if self.on_record == self.animals.len() {
            return format!("{} has all of these records already ({all}): nothing was changed.", self.site);
        }
        if self.checked_only {
            let sound = self.animals.len() - self.on_record;
            return format!("{} can be added at {}{known}.", count(sound, "animal", "animals"), self.site);
        }
        format!("{} added at {}{known}.", count(self.taken_in, "animal was", "animals were"), self.site)
    }
}

fn animal(answered: Answered) -> Animal {
    Animal {
        file: answered.place.file,
        row: answered.place.row,
        name: answered.name,
        outcome: answered.outcome.word(),
        accession: some(answered.accession),
        animal_id: some(answered.animal_id),
        faults: answered.faults.into_iter().map(told).collect(),
    }
}

fn told(Fault { place, say, mend }: Fault) -> Told {
    Told { file: place.file, row: place.row, column: place.column, say, mend }
}

impl Told {
    /// `occurrence.csv, row 3, column Chip`.
    fn place(&self) -> String {
        let file = some(self.file.to_owned());
        let row = self.row.map(|row| format!("row {row}"));
        let column = some(self.column.clone()).map(|column| format!("`{column}`"));
        file.into_iter().chain(row).chain(column).collect::<Vec<_>>().join(", ")
    }
}

impl Answer for Intake {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let mut rows = Vec::new();
        for one in &self.animals {
            let row = || Row {
                file: one.file,
                row: one.row,
                name: one.name.clone(),
                outcome: one.outcome,
                accession: one.accession.clone(),
                animal_id: one.animal_id.clone(),
                ..Row::default()
            };
            if one.faults.is_empty() {
                rows.push(row());
            }
            rows.extend(one.faults.iter().map(|told| Row {
                file: told.file,
                row: told.row,
                column: some(told.column.clone()),
                say: Some(told.say.clone()),
                instead: Some(told.mend.clone()),
                ..row()
            }));
        }
        rows
    }

    fn page(&self, page: &mut Page) {
        for one in self.animals.iter().filter(|one| !one.faults.is_empty()) {
            for told in &one.faults {
                let place = page.paint(Tone::Alarm, &told.place());
                page.hanging(&format!("{place} ({}): {}", one.name, told.say), 2);
                page.hanging(&format!("  instead: {}", told.mend), 4);
            }
        }
        page.line(&self.summary());
        if self.refused == 0 {
            for (what, added) in [("Species", &self.species_added), ("Enclosures", &self.enclosures_added)] {
                if !added.is_empty() {
                    page.line(&format!("{what} added: {}.", added.join(", ")));
                }
            }
        }
        if self.checked_only {
            page.line(CHECKED_ONLY);
        }
        if self.checked_only && !self.concerns.is_empty() {
            page.line("It would raise:");
        }
        for concern in &self.concerns {
            page.gap();
            concern.paragraph(page);
        }
        page.remark(self.caution.as_deref().unwrap_or_default());
    }
}
