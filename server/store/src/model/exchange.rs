//! Whole lives of animals, as one site has them on record: what is taken in and given out.

use crate::model::animal::{ArrivalSource, Born, Destination};
use crate::model::concern::Concern;
use crate::model::death::Manner;
use crate::model::holding::When;
use crate::model::kinship::Known;
use crate::model::mark::NewMark;
use crate::model::reason::Reason;
use crate::model::site::EnclosureKind;
use crate::model::weight::Reading;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Sex;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Most animals that are taken in at once.
pub const MOST_LIVES: usize = 5000;

/// Most readings of all of them together.
pub const MOST_READINGS: usize = 200_000;

/// An animal, with what one site has on record of it.
#[derive(Clone, Debug)]
pub struct Life {
    /// None for one that has no identifier in Holt yet.
    pub id: Option<Uuid>,
    /// Accession at the site; empty for the next one.
    pub accession: String,
    /// Scientific name.
    pub taxon: String,
    /// With one, a species that is not on record is added.
    pub common_name: String,
    /// Oldest first, each with the day from which it counts: the first of the first stay where none.
    pub sexes: Vec<(Option<NaiveDate>, Sex)>,
    pub born: Option<Born>,
    pub parents: Vec<Parentage>,
    pub marks: Vec<Worn>,
    /// Oldest first.
    pub stays: Vec<Stay>,
    pub placements: Vec<LivedIn>,
    /// Empty for the site.
    pub owner: String,
    pub readings: Vec<Weighed>,
}

/// A parent, named as people name animals.
#[derive(Clone, Debug)]
pub struct Parentage {
    pub animal: String,
    /// Its part: a dam is female.
    pub sex: Sex,
    pub share: f64,
    pub because: String,
    pub known: Known,
}

/// A mark over a stretch of time.
#[derive(Clone, Debug)]
pub struct Worn {
    pub mark: NewMark,
    /// From the first stay on where none.
    pub from: Option<DateTime<Utc>>,
    pub until: Option<DateTime<Utc>>,
    pub ended_why: String,
}

/// How an animal came to the site.
#[derive(Clone, Debug)]
pub enum Coming {
    Birth {
        day: NaiveDate,
    },
    Arrival {
        when: When,
        source: ArrivalSource,
        /// Where it was before; empty where not known.
        from: String,
    },
}

/// How it left the books.
#[derive(Clone, Debug)]
pub enum Leaving {
    Death {
        manner: Manner,
        note: String,
    },
    Departure {
        destination: Destination,
        /// Where it went; empty where not known.
        name: String,
    },
}

/// A stretch of time at the site.
#[derive(Clone, Debug)]
pub struct Stay {
    pub coming: Coming,
    /// None while it lasts.
    pub left: Option<(When, Leaving)>,
}

/// A stretch of time in an enclosure of the site.
#[derive(Clone, Debug)]
pub struct LivedIn {
    pub enclosure: String,
    /// With one, an enclosure that is not on record is added.
    pub kind: Option<EnclosureKind>,
    /// From the beginning of the last stay on where none.
    pub from: Option<DateTime<Utc>>,
    pub until: Option<DateTime<Utc>>,
}

/// A reading; the animal that it names is the one that it is with.
#[derive(Clone, Debug)]
pub struct Weighed {
    pub reading: Reading,
    pub doubtful: bool,
}

/// One thing that is wrong with an animal that was to be taken in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flaw {
    pub reason: Reason,
    /// Path of the field: `marks[1].code`.
    pub field: String,
    pub say: String,
    pub mend: String,
}

/// What became of an animal that was to be taken in.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum Answer {
    TakenIn {
        animal: Uuid,
        accession: String,
    },
    /// On record already, and left as it is.
    OnRecord {
        animal: Uuid,
        accession: String,
    },
    /// Nothing is wrong with it, and nothing was written.
    Sound,
    Refused(Vec<Flaw>),
}

/// What became of all of them.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct TakenIn {
    pub answers: Vec<Answer>,
    pub written: bool,
    pub taxa_added: Vec<String>,
    pub enclosures_added: Vec<String>,
    /// What the readings say of the animals, as they stand now.
    pub concerns: Vec<Concern>,
}
