//! Kin of animals, and how closely they are related.

use crate::model::animal::Label;
use crate::model::group::Kin;
use chrono::NaiveDate;
use holt_audit::kinship::Bounded;
use holt_audit::terms::Sex;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How a parent is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KnownBy {
    #[default]
    NotSaid,
    /// Somebody saw it: a mating, a birth, suckling.
    Observed,
    /// A laboratory found it.
    Genetic,
    /// Nobody else can have been.
    Assumed,
}

impl KnownBy {
    /// Every way.
    pub const ALL: [Self; 4] = [Self::NotSaid, Self::Observed, Self::Genetic, Self::Assumed];

    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::NotSaid => "not_said",
            Self::Observed => "observed",
            Self::Genetic => "genetic",
            Self::Assumed => "assumed",
        }
    }
}

/// How a parent is known, and who says so.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Known {
    pub by: KnownBy,
    /// Such as the report of a laboratory; may be empty.
    pub note: String,
}

/// What a pedigree is made of: an animal with what the asker may see of it.
#[derive(Clone, Debug)]
pub struct Line {
    pub animal: Uuid,
    pub sex: Sex,
    /// First and last day that it can have been born.
    pub born: Option<(NaiveDate, NaiveDate)>,
    /// Whether it came from the wild.
    pub wild: bool,
    pub parents: Vec<Parentage>,
}

/// A parent of an animal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parentage {
    pub parent: Uuid,
    /// The sex of the part that it has: a dam is female.
    pub part: Sex,
    /// How likely it is the one.
    pub share: f64,
}

/// A relative.
#[derive(Clone, Debug)]
pub struct Relative {
    pub animal: Label,
    pub kin: Kin,
    pub share: f64,
    pub sex: Sex,
    pub born: Option<(NaiveDate, NaiveDate)>,
    pub kinship: Bounded,
}

/// An ancestor, as the parent of one animal.
#[derive(Clone, Debug)]
pub struct Ancestor {
    pub animal: Label,
    pub parent_of: Uuid,
    pub kin: Kin,
    pub share: f64,
    pub generation: u32,
    pub founder: bool,
}

/// The kin of an animal.
#[derive(Clone, Debug)]
pub struct Family {
    pub animal: Label,
    pub inbreeding: Bounded,
    pub relatives: Vec<Relative>,
    /// The nearest first.
    pub ancestors: Vec<Ancestor>,
    /// Whether there are more siblings and offspring than are listed.
    pub more_relatives: bool,
    pub assumption: String,
    /// Parents on record that cannot be parents, each told.
    pub left_out: Vec<String>,
}

/// One of several animals that are compared.
#[derive(Clone, Debug)]
pub struct Compared {
    pub animal: Label,
    pub inbreeding: Bounded,
    pub mean_kinship: f64,
}

/// How closely animals are related.
#[derive(Clone, Debug)]
pub struct Comparison {
    pub members: Vec<Compared>,
    /// Each pair once.
    pub pairs: Vec<(Uuid, Uuid, Bounded)>,
    pub gene_diversity: f64,
    pub assumption: String,
    /// Parents on record that cannot be parents, each told.
    pub left_out: Vec<String>,
}
