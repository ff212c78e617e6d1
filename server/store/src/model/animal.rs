//! Animals as the caller may see them, and what is asked for when one is registered.

use crate::model::death::Death;
use crate::model::holding::When;
use crate::model::loan::Terms;
use crate::model::mark::{Mark, NewMark};
use crate::model::paper::Content;
use crate::model::taxon::Taxon;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::{Mass, Sex};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Where an animal stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    Held,
    Dead,
    Departed,
    AtLarge,
    MovedOn,
    /// Its record was entered by mistake: it never was.
    Mistake,
}

/// Day of birth, as closely as it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Born {
    /// First day that it can have been.
    pub first: NaiveDate,
    /// Last day that it can have been.
    pub last: NaiveDate,
    pub estimated: bool,
}

/// Just enough to know an animal by.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Label {
    pub id: Uuid,
    pub accession: String,
    pub house_name: String,
}

impl Label {
    /// As people would say it: `Bramble (QUI-26-0042)`.
    #[must_use]
    pub fn spoken(&self) -> String {
        if self.house_name.is_empty() {
            self.accession.clone()
        } else {
            format!("{} ({})", self.house_name, self.accession)
        }
    }
}

/// An animal, as the caller may see it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Animal {
    pub id: Uuid,
    pub accession: String,
    /// Code of the site and number, oldest first.
    pub accessions: Vec<(String, String)>,
    pub taxon: Taxon,
    pub sex: Sex,
    pub house_name: String,
    pub marks: Vec<Mark>,
    pub born: Option<Born>,
    pub dam: Option<Uuid>,
    pub sire: Option<Uuid>,
    pub status: Status,
    pub holder: String,
    pub enclosure: String,
    pub latest_mass: Option<Mass>,
    pub latest_weighed_at: Option<DateTime<Utc>>,
    pub version: i64,
    pub owner: String,
    pub held_since: Option<NaiveDate>,
    pub went_to: String,
    #[serde(default)]
    pub death: Option<Death>,
    /// Why its record was a mistake; empty where it was none.
    #[serde(default)]
    pub mistake: String,
}

impl Animal {
    /// Just enough to know it by.
    #[must_use]
    pub fn label(&self) -> Label {
        Label { id: self.id, accession: self.accession.clone(), house_name: self.house_name.clone() }
    }
}

/// How an animal came onto the books of its first site.
#[derive(Clone, Debug)]
pub enum Coming {
    /// Born there.
    Birth { day: NaiveDate },
    /// From outside Holt.
    Arrival { when: When, source: ArrivalSource, from: String, country: String },
}

/// What kind of place an animal came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ArrivalSource {
    Collection,
    Wild,
    Rescue,
    Confiscation,
    Private,
    OnSiteBefore,
}

impl ArrivalSource {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Collection => "collection",
            Self::Wild => "wild",
            Self::Rescue => "rescue",
            Self::Confiscation => "confiscation",
            Self::Private => "private",
            Self::OnSiteBefore => "on_site_before",
        }
    }
}

/// An animal to register.
#[derive(Clone, Debug)]
pub struct NewAnimal {
    pub taxon: String,
    pub coming: Coming,
    pub sex: Sex,
    pub born: Option<Born>,
    /// References as people write them; empty where not known.
    pub dam: String,
    pub sire: String,
    /// Why parents are right that do not fit by the records; empty refuses them.
    pub parents_because: String,
    pub marks: Vec<NewMark>,
    pub enclosure: String,
    pub owner: String,
    pub papers: Vec<Content>,
    /// Terms on which it came on loan, where it did.
    pub loan: Option<Terms>,
}

/// Where an animal goes that leaves Holt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Destination {
    Collection,
    Wild,
    Private,
    Escape,
}

impl Destination {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Collection => "collection",
            Self::Wild => "wild",
            Self::Private => "private",
            Self::Escape => "escape",
        }
    }
}

/// How an animal leaves the books.
#[derive(Clone, Debug)]
pub enum Leaving {
    Death(Box<Death>),
    Departure {
        destination: Destination,
        name: String,
        country: String,
        papers: Vec<Content>,
        /// Terms on which it went on loan, where it did.
        loan: Option<Terms>,
    },
}

/// What a list of animals is about.
#[derive(Clone, Debug, Default)]
pub struct Filter {
    /// Scientific name; empty for all.
    pub taxon: String,
    /// Name of an enclosure; empty for all.
    pub enclosure: String,
}
