//! Species.

use super::row::row;
use super::{Thing, some};
use crate::output::{Page, Table};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// A species or subspecies.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Species {
    pub(crate) scientific_name: String,
    pub(crate) common_name: String,
    cites_appendix: Option<&'static str>,
    breeds_from_days: Option<i32>,
    carries_up_to_days: Option<i32>,
    synonyms: Vec<Synonym>,
    gestation_days: Option<i32>,
    seasonal: Option<bool>,
    rest_kcal: Option<f64>,
    need_low: Option<f64>,
    need_high: Option<f64>,
    source: Option<String>,
    id: String,
}

/// Another name of it.
#[derive(Clone, Default, Serialize)]
struct Synonym {
    name: String,
    until_year: Option<i32>,
    source: Option<String>,
}

row! {
    /// A species as a line.
    Row of one: Species {
        scientific_name, common_name, cites_appendix, breeds_from_days, carries_up_to_days,
        synonyms: one.synonyms.iter().map(Synonym::spoken).collect::<Vec<_>>(), gestation_days,
        seasonal, rest_kcal, need_low, need_high, source, id,
    }
}

impl From<v1::Taxon> for Species {
    fn from(taxon: v1::Taxon) -> Self {
        let stated = |number: i32| (number != 0).then_some(number);
        let appendix = taxon.cites_appendix().word();
        let synonyms = taxon.synonyms.into_iter().map(|synonym| Synonym {
            name: synonym.name,
            until_year: stated(synonym.until_year),
            source: some(synonym.source),
        });
        let traits = taxon.traits;
        let energy = traits.as_ref().and_then(|traits| traits.energy);
        Self {
            cites_appendix: (!appendix.is_empty()).then_some(appendix),
            gestation_days: traits.as_ref().and_then(|traits| stated(traits.gestation_days)),
            seasonal: traits.as_ref().map(|traits| traits.seasonal),
            rest_kcal: energy.map(|energy| energy.rest_kcal),
            need_low: energy.map(|energy| energy.low),
            need_high: energy.map(|energy| energy.high),
            source: traits.and_then(|traits| some(traits.source)),
            breeds_from_days: stated(taxon.breeds_from_days),
            carries_up_to_days: stated(taxon.carries_up_to_days),
            synonyms: synonyms.collect(),
            scientific_name: taxon.scientific_name,
            common_name: taxon.common_name,
            id: taxon.id,
        }
    }
}

impl Synonym {
    /// `Lutra canadensis (until 1843, Gray 1843)`.
    fn spoken(&self) -> String {
        let until = self.until_year.map(|year| format!("until {year}"));
        match until.into_iter().chain(self.source.clone()).collect::<Vec<_>>().join(", ") {
            told if told.is_empty() => self.name.clone(),
            told => format!("{} ({told})", self.name),
        }
    }
}

impl Species {
    /// Its name, and its others.
    pub(crate) fn spoken(&self) -> String {
        let listed = self.cites_appendix.filter(|word| *word != "none");
        let listed = listed.map(|word| format!(", CITES appendix {word}")).unwrap_or_default();
        let others: Vec<String> = self.synonyms.iter().map(Synonym::spoken).collect();
        let others = if others.is_empty() { String::new() } else { format!("; also {}", others.join(", ")) };
        format!("{}, {}{listed}{others}.", self.scientific_name, self.common_name)
    }

    /// Usual figures in it: `carries 62 days, seasonal`.
    pub(crate) fn spoken_traits(&self) -> String {
        let energy = self.rest_kcal.zip(self.need_low.zip(self.need_high));
        let parts = [
            self.gestation_days.map(|days| format!("carries {days} days")),
            self.seasonal.filter(|seasonal| *seasonal).map(|_| "seasonal".to_owned()),
            energy.map(|(rest, (low, high))| {
                format!("{low} to {high} times {rest} kcal a day of 1 kg at rest")
            }),
        ];
        let told: Vec<String> = parts.into_iter().flatten().collect();
        if told.is_empty() && self.source.is_some() { "nothing recorded".to_owned() } else { told.join(", ") }
    }
}

/// Said where a species was asked for by another name than the accepted one.
pub(crate) fn synonym(asked_as: &str, accepted: &str) -> String {
    format!("{asked_as} is a synonym of {accepted}.")
}

impl Thing for Species {
    const MANY: &'static str = "species";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(species: &[Self], page: &mut Page) {
        let mut table = Table::new(["Scientific name", "Common name", "CITES", "Synonyms", "Usual figures"]);
        for each in species {
            table.row([
                each.scientific_name.clone(),
                each.common_name.clone(),
                each.cites_appendix.unwrap_or_default().to_owned(),
                each.synonyms.iter().map(Synonym::spoken).collect::<Vec<_>>().join("; "),
                each.spoken_traits(),
            ]);
        }
        page.table(&table);
    }
}
