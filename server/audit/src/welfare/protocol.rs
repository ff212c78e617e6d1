//! What a protocol is: its indicators, their scales, and what each value means for the animal.

use crate::terms::Domain;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A welfare protocol. Files hold it as TOML in exactly this shape; keys that it does not know are
/// refused, so that a misspelt key is never silently without effect.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Protocol {
    /// Short name, in lower-case words joined by hyphens.
    pub code: String,
    /// Counted from 1. Assessments name the version they were made by.
    pub version: u32,
    /// Name for people.
    pub title: String,
    /// Scientific names of the species it is for; none means any.
    #[serde(default)]
    pub species: Vec<String>,
    /// What is looked at.
    #[serde(rename = "indicator")]
    pub indicators: Vec<Indicator>,
}

/// One thing that is looked at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Indicator {
    /// Short name, unique in the protocol, in lower-case words joined by hyphens.
    pub code: String,
    /// What is asked.
    pub text: String,
    /// The domain whose evidence it is; one of the four that are observed.
    pub domain: Domain,
    /// Whether one looks at the animal or at what it is given.
    pub basis: Basis,
    /// How to look, so that two people score the same.
    pub guidance: String,
    /// What can be found, and what it means.
    pub scale: Scale,
}

/// What an indicator looks at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// The animal itself.
    Animal,
    /// What it is given: space, shelter, food, company, things to do.
    Resource,
}

/// What can be found, and what it means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Scale {
    /// One of a few named levels.
    Levels {
        /// At least two, in the order in which they are offered, which is that of their meaning.
        levels: Vec<Level>,
    },
    /// A measured value.
    Measured {
        /// Unit in which it is entered, as UCUM writes it where UCUM has one (`kg`, `Cel`, `%`, `min`).
        unit: String,
        /// Smallest value that is possible.
        min: f64,
        /// Largest value that is possible.
        max: f64,
        /// What the values mean, ascending; each band reaches to the next one, the last to `max`.
        bands: Vec<Band>,
    },
}

/// A named level and what it means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Level {
    /// What one finds.
    pub name: String,
    /// How bad that is.
    pub compromise: Compromise,
    /// How good that is.
    pub enhancement: Enhancement,
    /// What it would make the animal feel (thirst, comfort, fear, …), for the fifth domain.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub affect: Option<String>,
}

/// A stretch of measured values and what they mean.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// Its smallest value, in the unit of the scale.
    pub from: f64,
    /// How bad that is.
    pub compromise: Compromise,
    /// How good that is.
    pub enhancement: Enhancement,
    /// What it would make the animal feel (thirst, comfort, fear, …), for the fifth domain.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub affect: Option<String>,
}

/// How bad it is for the animal, after Mellor & Beausoleil 2015. The ends are the paper's; its words for
/// B to D are given here from memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Compromise {
    /// None.
    A,
    /// Low.
    B,
    /// Moderate.
    C,
    /// Severe.
    D,
    /// Very severe.
    E,
}

/// How good it is for the animal, after Mellor & Beausoleil 2015.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Enhancement {
    /// Nothing good is seen.
    #[serde(rename = "0")]
    None,
    /// Low.
    #[serde(rename = "+")]
    Low,
    /// Middling.
    #[serde(rename = "++")]
    Mid,
    /// High.
    #[serde(rename = "+++")]
    High,
}

impl fmt::Display for Compromise {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self, f)
    }
}

impl fmt::Display for Enhancement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::None => "0",
            Self::Low => "+",
            Self::Mid => "++",
            Self::High => "+++",
        })
    }
}

/// What one value of an indicator means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meaning<'a> {
    /// How bad it is.
    pub compromise: Compromise,
    /// How good it is.
    pub enhancement: Enhancement,
    /// What it would make the animal feel.
    pub affect: Option<&'a str>,
}

impl Scale {
    /// Everything that the scale can come to mean, in its order.
    pub fn meanings(&self) -> Vec<Meaning<'_>> {
        match self {
            Self::Levels { levels } => levels.iter().map(Level::meaning).collect(),
            Self::Measured { bands, .. } => bands.iter().map(Band::meaning).collect(),
        }
    }
}

impl Level {
    /// What finding it means.
    #[must_use]
    pub fn meaning(&self) -> Meaning<'_> {
        let Self { compromise, enhancement, ref affect, .. } = *self;
        Meaning { compromise, enhancement, affect: affect.as_deref() }
    }
}

impl Band {
    /// What a value in it means.
    #[must_use]
    pub fn meaning(&self) -> Meaning<'_> {
        let Self { compromise, enhancement, ref affect, .. } = *self;
        Meaning { compromise, enhancement, affect: affect.as_deref() }
    }
}
