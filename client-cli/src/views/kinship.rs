//! Kin, and how closely animals are related.

use super::{day, some, spoken};
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// A probability with what it may be at least and at most.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Figure {
    value: f64,
    lowest: f64,
    highest: f64,
    known: f64,
    supposed: bool,
}

impl From<Option<v1::KinshipFigure>> for Figure {
    fn from(wire: Option<v1::KinshipFigure>) -> Self {
        let v1::KinshipFigure { value, lowest, highest, known, supposed } = wire.unwrap_or_default();
        Self { value, lowest, highest, known, supposed }
    }
}

impl Figure {
    /// `0.1250`, or `0.1250 (0.0625 to 0.5000)` where not all is known.
    pub(super) fn spoken(&self) -> String {
        if self.highest - self.lowest > 5e-5 {
            format!("{:.4} ({:.4} to {:.4})", self.value, self.lowest, self.highest)
        } else {
            format!("{:.4}", self.value)
        }
    }

    /// How far it can be relied on.
    pub(super) fn certainty(&self) -> String {
        let known = format!("{:.0} % of the ancestry leads to founders", 100.0 * self.known);
        if self.supposed { format!("{known}; the sire is one of several") } else { known }
    }
}

/// An animal by name.
#[derive(Clone, Default, Serialize)]
struct Named {
    accession: Option<String>,
    house_name: Option<String>,
    animal_id: String,
}

impl From<Option<v1::AnimalLabel>> for Named {
    fn from(wire: Option<v1::AnimalLabel>) -> Self {
        let label = wire.unwrap_or_default();
        Self { accession: some(label.accession), house_name: some(label.house_name), animal_id: label.id }
    }
}

impl Named {
    fn spoken(&self) -> String {
        match &self.accession {
            Some(accession) => spoken(self.house_name.as_deref(), accession),
            None => "an animal that you may not see".to_owned(),
        }
    }
}

/// A relative.
#[derive(Clone, Serialize)]
struct Relative {
    #[serde(flatten)]
    animal: Named,
    kin: &'static str,
    share: f64,
    sex: &'static str,
    born_on: Option<String>,
    kinship: Figure,
}

/// An ancestor, as the parent of one animal.
#[derive(Clone, Serialize)]
struct Ancestor {
    #[serde(flatten)]
    animal: Named,
    parent_of: String,
    kin: &'static str,
    share: f64,
    generation: i32,
    founder: bool,
}

/// The kin of an animal.
#[derive(Serialize)]
pub(crate) struct Family {
    #[serde(flatten)]
    animal: Named,
    inbreeding: Figure,
    relatives: Vec<Relative>,
    ancestors: Vec<Ancestor>,
    more_relatives: bool,
    assumption: String,
    left_out: Vec<String>,
}

impl From<v1::GetKinResponse> for Family {
    fn from(answer: v1::GetKinResponse) -> Self {
        let relative = |one: v1::KinRelative| Relative {
            kin: one.kin().word(),
            sex: one.sex().word(),
            animal: one.animal.into(),
            share: one.share,
            born_on: day(one.born_on),
            kinship: one.kinship.into(),
        };
        let ancestor = |one: v1::Ancestor| Ancestor {
            kin: one.kin().word(),
            animal: one.animal.into(),
            parent_of: one.parent_of,
            share: one.share,
            generation: one.generation,
            founder: one.founder,
        };
        Self {
            animal: answer.animal.into(),
            inbreeding: answer.inbreeding.into(),
            relatives: answer.relatives.into_iter().map(relative).collect(),
            ancestors: answer.ancestors.into_iter().map(ancestor).collect(),
            more_relatives: answer.more_relatives,
            assumption: answer.assumption,
            left_out: answer.left_out,
        }
    }
}

/// A relative as a line.
#[derive(Default, Serialize)]
pub(crate) struct KinRow {
    accession: Option<String>,
    house_name: Option<String>,
    kin: &'static str,
    share: f64,
    sex: &'static str,
    born_on: Option<String>,
    kinship: f64,
    kinship_lowest: f64,
    kinship_highest: f64,
    id: String,
}

impl Family {
    /// Draws the parents of an animal below it, and theirs below them.
    fn draw(&self, of: &str, indent: &str, generation: i32, page: &mut Page) {
        let parents: Vec<&Ancestor> =
            self.ancestors.iter().filter(|one| one.parent_of == of && one.generation == generation).collect();
        for (n, one) in parents.iter().enumerate() {
            let (branch, below) =
                if n + 1 == parents.len() { ("└─ ", "   ") } else { ("├─ ", "│  ") };
            let share =
                if one.share < 1.0 { format!(", {:.0} % likely", 100.0 * one.share) } else { String::new() };
            let founder = if one.founder { ", founder" } else { "" };
            page.line(&format!("{indent}{branch}{}: {}{share}{founder}", one.kin, one.animal.spoken()));
            self.draw(&one.animal.animal_id, &format!("{indent}{below}"), generation + 1, page);
        }
    }
}

impl Answer for Family {
    type Row = KinRow;

    fn rows(&self) -> Vec<KinRow> {
        let row = |one: &Relative| KinRow {
            accession: one.animal.accession.clone(),
            house_name: one.animal.house_name.clone(),
            kin: one.kin,
            share: one.share,
            sex: one.sex,
            born_on: one.born_on.clone(),
            kinship: one.kinship.value,
            kinship_lowest: one.kinship.lowest,
            kinship_highest: one.kinship.highest,
            id: one.animal.animal_id.clone(),
        };
        self.relatives.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        page.heading(&self.animal.spoken());
        page.line(&format!("Inbreeding: {}; {}.", self.inbreeding.spoken(), self.inbreeding.certainty()));
        page.gap();
        if self.relatives.is_empty() {
            page.line("No relatives recorded.");
        } else {
            let mut table = Table::new(["Kin", "Animal", "Sex", "Born", "Kinship"]);
            for one in &self.relatives {
                table.row([
                    one.kin.to_owned(),
                    one.animal.spoken(),
                    one.sex.to_owned(),
                    one.born_on.clone().unwrap_or_default(),
                    one.kinship.spoken(),
                ]);
            }
            page.table(&table);
            if self.more_relatives {
                page.remark("There are more siblings and offspring than this list shows.");
            }
        }
        if !self.ancestors.is_empty() {
            page.gap();
            page.heading("Ancestors");
            page.line(&self.animal.spoken());
            self.draw(&self.animal.animal_id, "", 1, page);
        }
        footnotes(&self.assumption, &self.left_out, page);
    }
}

fn footnotes(assumption: &str, left_out: &[String], page: &mut Page) {
    for one in left_out {
        page.remark(&format!("{one}. Holt leaves it out; correct the record."));
    }
    page.remark(assumption);
}

/// One of the animals compared.
#[derive(Clone, Serialize)]
struct Member {
    #[serde(flatten)]
    animal: Named,
    inbreeding: Figure,
    mean_kinship: f64,
}

/// Two of the animals compared.
#[derive(Clone, Serialize)]
struct Pair {
    first_id: String,
    second_id: String,
    kinship: Figure,
}

/// How closely animals are related.
#[derive(Serialize)]
pub(crate) struct Compared {
    members: Vec<Member>,
    pairs: Vec<Pair>,
    gene_diversity: f64,
    assumption: String,
    left_out: Vec<String>,
}

impl From<v1::CompareKinshipResponse> for Compared {
    fn from(answer: v1::CompareKinshipResponse) -> Self {
        let member = |one: v1::KinshipMember| Member {
            animal: one.animal.into(),
            inbreeding: one.inbreeding.into(),
            mean_kinship: one.mean_kinship,
        };
        let pair = |one: v1::KinshipPair| Pair {
            first_id: one.first_id,
            second_id: one.second_id,
            kinship: one.kinship.into(),
        };
        Self {
            members: answer.members.into_iter().map(member).collect(),
            pairs: answer.pairs.into_iter().map(pair).collect(),
            gene_diversity: answer.gene_diversity,
            assumption: answer.assumption,
            left_out: answer.left_out,
        }
    }
}

/// A pair as a line.
#[derive(Default, Serialize)]
pub(crate) struct PairRow {
    first: String,
    second: String,
    kinship: f64,
    lowest: f64,
    highest: f64,
    known: f64,
    supposed: bool,
    first_id: String,
    second_id: String,
}

impl Compared {
    fn name(&self, id: &str) -> String {
        self.members
            .iter()
            .find(|one| one.animal.animal_id == id)
            .map(|one| one.animal.spoken())
            .unwrap_or_default()
    }
}

impl Answer for Compared {
    type Row = PairRow;

    fn rows(&self) -> Vec<PairRow> {
        let row = |pair: &Pair| PairRow {
            first: self.name(&pair.first_id),
            second: self.name(&pair.second_id),
            kinship: pair.kinship.value,
            lowest: pair.kinship.lowest,
            highest: pair.kinship.highest,
            known: pair.kinship.known,
            supposed: pair.kinship.supposed,
            first_id: pair.first_id.clone(),
            second_id: pair.second_id.clone(),
        };
        self.pairs.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        if self.members.is_empty() {
            page.line("No animals to compare.");
            return;
        }
        let mut table = Table::new(["Animal", "Inbreeding", "Mean kinship", "Known ancestry"]);
        for one in &self.members {
            table.row([
                one.animal.spoken(),
                one.inbreeding.spoken(),
                format!("{:.4}", one.mean_kinship),
                format!("{:.0} %", 100.0 * one.inbreeding.known),
            ]);
        }
        page.table(&table);
        page.line(&format!("Gene diversity of these animals: {:.4}", self.gene_diversity));
        if !self.pairs.is_empty() {
            page.gap();
            let mut table = Table::new(["First", "Second", "Kinship"]);
            for pair in &self.pairs {
                table.row([self.name(&pair.first_id), self.name(&pair.second_id), pair.kinship.spoken()]);
            }
            page.table(&table);
        }
        footnotes(&self.assumption, &self.left_out, page);
    }
}
