//! Seeded chance.

use holt_audit::stats::normal;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

/// Draws that are the same for the same seed.
pub(crate) struct Chance(StdRng);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(StdRng::seed_from_u64(seed))
    }

    /// Evenly from `low` up to `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0.random_range(low..high)
    }

    /// A whole number from `low` up to, not including, `high`.
    pub(crate) fn whole(&mut self, low: usize, high: usize) -> usize {
        self.0.random_range(low..high)
    }

    /// True this often.
    pub(crate) fn of(&mut self, probability: f64) -> bool {
        self.0.random_bool(probability)
    }

    /// From a normal distribution about zero.
    pub(crate) fn normal(&mut self, sd: f64) -> f64 {
        sd * normal::quantile(self.between(1e-12, 1.0))
    }
}
