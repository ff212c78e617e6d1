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

impl Traits {
    /// As people say it.
    #[must_use]
    pub fn spoken(&self) -> String {
        let mut says: Vec<String> = Vec::new();
        says.extend(self.gestation_days.map(|days| format!("usual gestation {days} days")));
        says.extend(self.seasonal.then(|| "gains and loses with the seasons".to_owned()));
        says.extend(self.energy.map(|need| {
            let EnergyNeed { rest_kcal, low, high } = need;
            format!(
                "energy at rest {rest_kcal} kcal a day and kg^0.75, in keeping {low} to {high} times that"
            )
        }));
        says.push(format!("source {}", self.source));
        says.join("; ")
    }
}
