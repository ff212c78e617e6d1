//! What is usual in a species.

use serde::{Deserialize, Serialize};

/// What is usual in a species, as somebody said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Traits {
    /// Usual days during which the young grow in the dam, until birth.
    pub gestation_days: Option<i32>,
    /// Its animals gain and lose with the seasons.
    pub seasonal: bool,
    pub energy: Option<EnergyNeed>,
    /// Where that is from.
    pub source: String,
}

/// Energy that an animal needs a day, by its mass.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EnergyNeed {
    /// At rest, kcal a day and kg^0.75.
    pub rest_kcal: f64,
    /// Multiples of it that are usual in keeping.
    pub low: f64,
    pub high: f64,
}
