//! Ethograms.

use super::row::row;
use super::{Thing, count};
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// A behaviour.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Behaviour {
    code: String,
    name: String,
    kind: &'static str,
    receiver: &'static str,
    above: &'static str,
    meaning: String,
}

/// A version of an ethogram.
#[derive(Clone, Serialize)]
pub(crate) struct Ethogram {
    code: String,
    version: i32,
    pub(crate) title: String,
    species: Vec<String>,
    behaviours: Vec<Behaviour>,
    id: String,
}

row! {
    /// A version of an ethogram as a line.
    Row of one: Ethogram {
        code, version, title, species, behaviours: one.behaviours.len(), id,
    }
}

impl From<v1::Ethogram> for Ethogram {
    fn from(ethogram: v1::Ethogram) -> Self {
        let behaviour = |one: v1::Behaviour| Behaviour {
            kind: one.kind().word(),
            receiver: one.receiver().word(),
            above: one.above().word(),
            code: one.code,
            name: one.name,
            meaning: one.meaning,
        };
        Self {
            code: ethogram.code,
            version: ethogram.version,
            title: ethogram.title,
            species: ethogram.taxa,
            behaviours: ethogram.behaviours.into_iter().map(behaviour).collect(),
            id: ethogram.id,
        }
    }
}

impl Ethogram {
    /// As people name it: `small-carnivore, version 1`.
    pub(crate) fn spoken(&self) -> String {
        format!("{}, version {}", self.code, self.version)
    }
}

impl Thing for Ethogram {
    const MANY: &'static str = "ethograms";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(ethograms: &[Self], page: &mut Page) {
        let mut table = Table::new(["Code", "Version", "Title", "For", "Behaviours"]).numbers([1]);
        for one in ethograms {
            let species = if one.species.is_empty() { "any".to_owned() } else { one.species.join(", ") };
            table.row([
                one.code.clone(),
                one.version.to_string(),
                one.title.clone(),
                species,
                count(one.behaviours.len(), "behaviour", "behaviours"),
            ]);
        }
        page.table(&table);
    }
}

impl Answer for Ethogram {
    type Row = Behaviour;

    fn rows(&self) -> Vec<Behaviour> {
        self.behaviours.clone()
    }

    fn page(&self, page: &mut Page) {
        page.heading(&format!("{} ({})", self.title, self.spoken()));
        page.gap();
        let mut table = Table::new(["Code", "An animal …", "What counts"]);
        for one in &self.behaviours {
            let whom = match one.receiver {
                "must" => " another",
                "may" => " (another)",
                _ => "",
            };
            table.row([one.code.clone(), format!("{}{whom}", one.name), one.meaning.clone()]);
        }
        page.table(&table);
    }
}
