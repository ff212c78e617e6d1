//! A mass with an interval.

use crate::stats::count;
use crate::terms::Mass;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// A mass with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Band {
    /// The middle.
    pub expected: Mass,
    /// Lower end.
    pub low: Mass,
    /// Upper end.
    pub high: Mass,
}

impl Band {
    /// From ln grams with a standard error that rests on so many degrees of freedom.
    pub(super) fn of_log(log: f64, error: f64, degrees_of_freedom: usize) -> Self {
        let reach = StudentsT::new(0.0, 1.0, count(degrees_of_freedom.max(1)))
            .map_or(f64::INFINITY, |t| t.inverse_cdf(0.975) * error);
        let mass = |log: f64| Mass::from_grams(log.exp());
        Self { expected: mass(log), low: mass(log - reach), high: mass(log + reach) }
    }

    /// Whether a mass lies inside.
    #[must_use]
    pub fn holds(&self, mass: Mass) -> bool {
        self.low <= mass && mass <= self.high
    }
}
