//! Exponentially weighted moving average chart: where a series stands now, smoothed.
//!
//! Sources: Roberts 1959, Technometrics 1:239; Lucas & Saccucci 1990, Technometrics 32:1;
//! NIST/SEMATECH e-Handbook of Statistical Methods §6.3.2.4.

/// A running average that gives each new value the weight `smoothing` and the past the rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ewma {
    smoothing: f64,
    value: f64,
}

impl Ewma {
    /// Starts at `start` (the target, in the unit of the values), with `0 < smoothing <= 1`.
    #[must_use]
    pub const fn new(smoothing: f64, start: f64) -> Self {
        Self { smoothing, value: start }
    }

    /// The average so far.
    #[must_use]
    pub const fn value(&self) -> f64 {
        self.value
    }

    /// Takes one value and returns the average with it.
    pub fn add(&mut self, value: f64) -> f64 {
        self.add_after(value, 1.0)
    }

    /// Takes a value that comes `steps` steps after the last one, of which the steps between are
    /// missing: the past has faded that much more. Returns the average with it.
    pub fn add_after(&mut self, value: f64, steps: f64) -> f64 {
        let weight = 1.0 - (1.0 - self.smoothing).powf(steps);
        self.value += weight * (value - self.value);
        self.value
    }
}

/// How far the average of `steps` independent values of standard deviation `sd` strays from its start
/// before it is `limits` standard deviations off. It grows towards `limits · sd · √(λ/(2−λ))`.
#[must_use]
pub fn half_width(smoothing: f64, limits: f64, sd: f64, steps: u32) -> f64 {
    let faded = (1.0 - smoothing).powf(2.0 * f64::from(steps));
    limits * sd * (smoothing / (2.0 - smoothing) * (1.0 - faded)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_gap_counts_like_repeating_the_value(first in -9.0..9.0f64, then in -9.0..9.0f64, steps in 1u32..20) {
            let mut repeated = Ewma::new(0.3, first);
            let mut after = repeated;
            for _ in 0..steps {
                repeated.add(then);
            }
            after.add_after(then, f64::from(steps));
            prop_assert!((after.value() - repeated.value()).abs() < 1e-9);
        }
    }
}
