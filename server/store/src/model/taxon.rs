//! Species and subspecies, and what they are called.

use serde::{Deserialize, Deserializer, Serialize};
use uuid::Uuid;

/// In which appendix of CITES a species is listed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Appendix {
    /// Nobody said.
    #[default]
    #[serde(rename = "")]
    NotStated,
    /// In none.
    #[serde(rename = "none")]
    None,
    I,
    #[serde(rename = "II")]
    Two,
    #[serde(rename = "III")]
    Three,
}

impl Appendix {
    /// As it is stored, and as the convention writes it.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::NotStated => "",
            Self::None => "none",
            Self::I => "I",
            Self::Two => "II",
            Self::Three => "III",
        }
    }

    /// The appendix that a stored word means.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        [Self::NotStated, Self::None, Self::I, Self::Two, Self::Three]
            .into_iter()
            .find(|appendix| appendix.as_str() == word)
    }

    /// Whether a species in it needs papers to cross a border.
    #[must_use]
    pub const fn is_listed(self) -> bool {
        matches!(self, Self::I | Self::Two | Self::Three)
    }
}

/// A species or subspecies.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Taxon {
    pub id: Uuid,
    /// Its accepted name.
    pub scientific_name: String,
    pub common_name: String,
    #[serde(default)]
    pub appendix: Appendix,
    /// Age in days from which it can be a parent, where that is stated.
    #[serde(default)]
    pub breeds_from_days: Option<i32>,
    /// Longest time in days from mating to birth, where that is stated.
    #[serde(default)]
    pub carries_up_to_days: Option<i32>,
    /// Other names of it; only where all that is known of a species is told.
    #[serde(default)]
    pub synonyms: Vec<Synonym>,
    /// The synonym by which it was asked for; empty where it was by its accepted name.
    #[serde(default)]
    pub asked_as: String,
}

impl Taxon {
    /// The same, with the name by which it was asked for where that is not the accepted one.
    #[must_use]
    pub fn asked_as(mut self, name: &str) -> Self {
        if !name.is_empty() && self.scientific_name != name {
            name.clone_into(&mut self.asked_as);
        }
        self
    }
}

/// Another name of a species: one that it had, or that somebody else uses.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Synonym {
    pub name: String,
    /// Year of the publication since which it is a synonym, where that is known.
    pub until_year: Option<i32>,
    /// Who says so; may be empty.
    pub source: String,
}

/// A species to put on record.
#[derive(Clone, Debug)]
pub struct NewTaxon {
    pub scientific_name: String,
    pub common_name: String,
    pub appendix: Appendix,
    pub breeds_from_days: Option<i32>,
    pub carries_up_to_days: Option<i32>,
    pub synonyms: Vec<Synonym>,
}

/// What is to be changed of a species; none where it is to stay.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaxonChange {
    /// A new accepted name, with the year and the source of the change; the old one becomes a synonym.
    pub renamed: Option<Synonym>,
    pub common_name: Option<String>,
    pub appendix: Option<Appendix>,
    /// Some(None): no longer stated.
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "stated")]
    pub breeds_from_days: Option<Option<i32>>,
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "stated")]
    pub carries_up_to_days: Option<Option<i32>>,
    pub more_synonyms: Vec<Synonym>,
    /// Synonyms that are none.
    pub no_synonyms: Vec<String>,
    pub because: String,
}

/// What is there is meant, also where it is null.
fn stated<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Option<i32>>, D::Error> {
    Option::deserialize(from).map(Some)
}

impl TaxonChange {
    /// As people say it.
    #[must_use]
    pub fn spoken(&self) -> String {
        let mut says: Vec<String> = Vec::new();
        says.extend(self.renamed.as_ref().map(|new| format!("renamed {}", new.name)));
        says.extend(self.described());
        says.extend(self.more_synonyms.iter().map(|one| format!("also called {}", one.name)));
        says.extend(self.no_synonyms.iter().map(|name| format!("no longer called {name}")));
        says.join("; ")
    }

    /// What it says of the species apart from its scientific names, as people say it.
    #[must_use]
    pub fn described(&self) -> Vec<String> {
        let days = |what: &str, days: Option<Option<i32>>| {
            days.map(|days| days.map_or(format!("{what} not stated"), |days| format!("{what} {days} days")))
        };
        let mut says: Vec<String> = Vec::new();
        says.extend(self.common_name.as_ref().map(|name| format!("common name {name}")));
        says.extend(self.appendix.map(|appendix| match appendix {
            Appendix::NotStated => "CITES appendix not stated".to_owned(),
            Appendix::None => "no CITES appendix".to_owned(),
            listed => format!("CITES appendix {}", listed.as_str()),
        }));
        says.extend(days("youngest parent", self.breeds_from_days));
        says.extend(days("longest from mating to birth", self.carries_up_to_days));
        says
    }

    /// What stands now in place of what it says: the change that would put it back.
    #[must_use]
    pub fn instead_of(&self, now: &Taxon) -> Self {
        let dropped = |synonym: &&Synonym| self.no_synonyms.contains(&synonym.name);
        Self {
            renamed: self.renamed.as_ref().map(|_| Synonym {
                name: now.scientific_name.clone(),
                until_year: None,
                source: String::new(),
            }),
            common_name: self.common_name.as_ref().map(|_| now.common_name.clone()),
            appendix: self.appendix.map(|_| now.appendix),
            breeds_from_days: self.breeds_from_days.map(|_| now.breeds_from_days),
            carries_up_to_days: self.carries_up_to_days.map(|_| now.carries_up_to_days),
            more_synonyms: now.synonyms.iter().filter(dropped).cloned().collect(),
            no_synonyms: self.more_synonyms.iter().map(|one| one.name.clone()).collect(),
            because: String::new(),
        }
    }

    /// Whether it changes nothing.
    #[must_use]
    pub const fn is_none(&self) -> bool {
        self.renamed.is_none()
            && self.common_name.is_none()
            && self.appendix.is_none()
            && self.breeds_from_days.is_none()
            && self.carries_up_to_days.is_none()
            && self.more_synonyms.is_empty()
            && self.no_synonyms.is_empty()
    }
}
