//! Facts about one animal, whatever they are about: versions that supersede one another.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use uuid::Uuid;

/// What kind of thing is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FactKind {
    Birth,
    Sex,
    Parent,
    Accession,
    Holding,
    Title,
    Placement,
    Membership,
    Mark,
    LifeState,
    Loan,
    Paper,
    Weight,
    Assessment,
    /// That it took part in an encounter with the public; corrected with the encounter.
    Encounter,
    /// A step of a transfer; told in a history, and corrected by none.
    Transfer,
    Death,
    /// Another record that was found to be of this animal.
    Merge,
    /// That it left a litter to be an animal of its own.
    ToldApart,
    /// That its record was entered by mistake.
    Mistake,
}

impl FactKind {
    /// As people say it.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Birth => "birth",
            Self::Sex => "sex",
            Self::Parent => "parent",
            Self::Accession => "accession",
            Self::Holding => "holding",
            Self::Title => "title",
            Self::Placement => "placement",
            Self::Membership => "membership",
            Self::Mark => "mark",
            Self::LifeState => "state",
            Self::Loan => "loan",
            Self::Paper => "paper",
            Self::Weight => "weight",
            Self::Assessment => "assessment",
            Self::Encounter => "encounter",
            Self::Transfer => "transfer",
            Self::Death => "death",
            Self::Merge => "merge",
            Self::ToldApart => "identification",
            Self::Mistake => "mistake",
        }
    }
}

/// One version of a fact, with all that it holds under the names of its columns.
#[derive(Clone, Debug)]
pub struct Version {
    pub kind: FactKind,
    pub row: Map<String, Value>,
}

impl Version {
    /// Identifier of this version.
    #[must_use]
    pub fn id(&self) -> Uuid {
        self.uuid("id").unwrap_or_default()
    }

    /// The site that recorded it.
    #[must_use]
    pub fn site(&self) -> Uuid {
        self.uuid("site_id").unwrap_or_default()
    }

    /// Whether it stands.
    #[must_use]
    pub fn stands(&self) -> bool {
        self.row.get("superseded_at").is_none_or(Value::is_null)
    }

    /// An identifier that it holds.
    #[must_use]
    pub fn uuid(&self, column: &str) -> Option<Uuid> {
        self.text(column).and_then(|text| text.parse().ok())
    }

    /// An instant that it holds.
    #[must_use]
    pub fn instant(&self, column: &str) -> Option<DateTime<Utc>> {
        self.text(column).and_then(|text| text.parse().ok())
    }

    /// A day that it holds.
    #[must_use]
    pub fn day(&self, column: &str) -> Option<NaiveDate> {
        self.text(column).and_then(|text| text.parse().ok())
    }

    /// A text that it holds.
    #[must_use]
    pub fn text(&self, column: &str) -> Option<&str> {
        self.row.get(column).and_then(Value::as_str)
    }
}

/// A fact as a history tells it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Told {
    pub kind: FactKind,
    pub id: Uuid,
    /// Code of the site that it is about.
    pub site: String,
    /// Code of the site whose person recorded it.
    pub recorder: String,
    pub at: Option<DateTime<Utc>>,
    pub day_only: bool,
    pub ended_at: Option<DateTime<Utc>>,
    /// What it says, in words.
    pub say: String,
    pub recorded_at: DateTime<Utc>,
    /// Empty where the caller may not know.
    pub recorded_by: String,
    /// When it was superseded, and why; none while it stands.
    pub superseded: Option<(DateTime<Utc>, String)>,
    pub change: Option<Change>,
    /// What the record goes by that it was entered for, where that is another of the animal's records.
    pub entered_for: Option<String>,
    /// Whether a merge sets it aside.
    pub set_aside: bool,
}

/// What became of a fact since an earlier instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    Added,
    Gone,
}
