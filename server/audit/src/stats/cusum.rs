//! Tabular cumulative sum chart: finds small lasting shifts, and when they began.
//!
//! Sources: Page 1954, Biometrika 41:100; NIST/SEMATECH e-Handbook of Statistical Methods §6.3.2.3.

/// Sums of what lies beyond the allowance on either side of zero. Feed it deviations from the target.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cusum {
    low: f64,
    high: f64,
}

impl Cusum {
    /// Sum of shortfalls below the target by more than the allowance, in the unit of the deviations.
    #[must_use]
    pub const fn low(&self) -> f64 {
        self.low
    }

    /// Sum of excesses above the target by more than the allowance, in the unit of the deviations.
    #[must_use]
    pub const fn high(&self) -> f64 {
        self.high
    }

    /// Takes one deviation. A sum that would fall below zero starts again: a shift that it later
    /// shows began after that point.
    pub fn add(&mut self, deviation: f64, allowance: f64) {
        self.low = (self.low - deviation - allowance).max(0.0);
        self.high = (self.high + deviation - allowance).max(0.0);
    }
}
