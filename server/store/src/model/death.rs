//! Deaths: when, how, and what became of the body.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// How an animal died.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Manner {
    Natural,
    Euthanasia,
    Accident,
    ByAnimal,
    Unknown,
}

impl Manner {
    /// All manners.
    pub const ALL: [Self; 5] =
        [Self::Natural, Self::Euthanasia, Self::Accident, Self::ByAnimal, Self::Unknown];

    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Natural => "natural",
            Self::Euthanasia => "euthanasia",
            Self::Accident => "accident",
            Self::ByAnimal => "by_animal",
            Self::Unknown => "unknown",
        }
    }
}

/// Whether a body was opened and looked into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PostMortem {
    NotDone,
    AskedFor,
    Done,
}

impl PostMortem {
    /// All that can be said of it.
    pub const ALL: [Self; 3] = [Self::NotDone, Self::AskedFor, Self::Done];

    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::NotDone => "not_done",
            Self::AskedFor => "asked_for",
            Self::Done => "done",
        }
    }
}

/// What became of a body. Common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Disposal {
    Incinerated,
    Buried,
    Collection,
    Sample,
    Rendered,
    Unknown,
}

impl Disposal {
    /// All that can become of it.
    pub const ALL: [Self; 6] =
        [Self::Incinerated, Self::Buried, Self::Collection, Self::Sample, Self::Rendered, Self::Unknown];

    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Incinerated => "incinerated",
            Self::Buried => "buried",
            Self::Collection => "collection",
            Self::Sample => "sample",
            Self::Rendered => "rendered",
            Self::Unknown => "unknown",
        }
    }
}

/// What was done with a body; none and empty where it was not told.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Body {
    pub post_mortem: Option<PostMortem>,
    /// What the post-mortem found.
    pub result: String,
    pub disposal: Option<Disposal>,
    /// Museum, collection or place that has it.
    pub disposal_name: String,
}

/// A death, as far as it is known.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Death {
    /// First and last day on which it can have been; none where nothing is known.
    pub died: Option<(NaiveDate, NaiveDate)>,
    pub found_on: Option<NaiveDate>,
    pub manner: Manner,
    pub note: String,
    pub body: Body,
}

impl Death {
    /// The day, where it is known whole.
    #[must_use]
    pub fn day(&self) -> Option<NaiveDate> {
        self.died.filter(|(first, last)| first == last).map(|(day, _)| day)
    }
}

/// The day from which a dead animal is off the books.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gone {
    pub on: NaiveDate,
    /// Whether it died on that day; it was found on it otherwise.
    pub died_then: bool,
}

impl Gone {
    /// `died on 2026-03-01`.
    #[must_use]
    pub fn spoken(self) -> String {
        format!("{} on {}", if self.died_then { "died" } else { "was found dead" }, self.on)
    }
}
