//! A small linear-Gaussian state: what is believed of a few hidden numbers, and how sure that is.
//!
//! The recursions are those of Kalman 1960 (J Basic Eng 82:35), as in Durbin & Koopman 2012, Time Series Analysis by
//! State Space Methods, section 4.3; both cited from memory. `tests/external/state_space.rs` holds them against a
//! reference library's. Units are the caller's.

use serde::{Deserialize, Serialize};

/// Hidden numbers of a state; those that are not used stay at nothing.
pub const N: usize = 7;

/// One value for each of them.
pub type Vector = [f64; N];

/// Means and covariances.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Gaussian {
    /// What is believed of each.
    pub mean: Vector,
    /// How sure that is.
    pub cov: [Vector; N],
}

/// How a state moves on over some time: each number keeps a part of itself, the first gains by the second, and all
/// become less certain.
#[derive(Clone, Copy, Debug)]
pub struct Motion {
    /// The part of itself that each keeps.
    pub keep: Vector,
    /// By how much the first number gains for each unit of the second.
    pub gain: f64,
    /// Variance that is added.
    pub noise: Vector,
}

impl Motion {
    /// Moves a vector on.
    pub fn apply(&self, vector: &mut Vector) {
        let gained = self.gain * vector[1];
        for (value, keep) in vector.iter_mut().zip(self.keep) {
            *value *= keep;
        }
        vector[0] += gained;
    }
}

/// What a reading shows: by how much each number counts in it, and the variance of what it errs by.
#[derive(Clone, Copy, Debug)]
pub struct View {
    /// By how much each number counts.
    pub row: Vector,
    /// Variance of what the reading errs by.
    pub noise: f64,
}

impl View {
    /// What it shows of a vector.
    #[must_use]
    pub fn of(&self, vector: &Vector) -> f64 {
        self.row.iter().zip(vector).map(|(row, value)| row * value).sum()
    }
}

impl Gaussian {
    /// With such means and variances, and nothing known of how they go together.
    #[must_use]
    pub fn new(mean: Vector, variances: Vector) -> Self {
        let mut cov = [[0.0; N]; N];
        for (place, variance) in variances.into_iter().enumerate() {
            cov[place][place] = variance;
        }
        Self { mean, cov }
    }

    /// Moves on.
    pub fn moves(&mut self, motion: &Motion) {
        motion.apply(&mut self.mean);
        for row in &mut self.cov {
            motion.apply(row);
        }
        let [level, slope] = [self.cov[0], self.cov[1]];
        for (row, keep) in self.cov.iter_mut().zip(motion.keep) {
            for value in row {
                *value *= keep;
            }
        }
        for place in 0..N {
            self.cov[0][place] = motion.keep[0] * level[place] + motion.gain * slope[place];
        }
        for (place, noise) in motion.noise.into_iter().enumerate() {
            self.cov[place][place] += noise;
        }
    }

    /// What a reading is expected to show.
    #[must_use]
    pub fn expects(&self, view: &View) -> f64 {
        view.of(&self.mean)
    }

    /// Variance of a reading about that.
    #[must_use]
    pub fn variance(&self, view: &View) -> f64 {
        self.covers(view).iter().zip(view.row).map(|(held, row)| held * row).sum::<f64>() + view.noise
    }

    fn covers(&self, view: &View) -> Vector {
        std::array::from_fn(|place| view.of(&self.cov[place]))
    }

    /// Takes in by how much a reading differed from what was expected. Answers by how much each number moves for
    /// each unit of it.
    pub fn learns(&mut self, view: &View, news: f64) -> Vector {
        let held = self.covers(view);
        let variance = self.variance(view);
        let gain = held.map(|held| held / variance);
        for ((mean, row), gain) in self.mean.iter_mut().zip(&mut self.cov).zip(gain) {
            *mean += gain * news;
            for (value, held) in row.iter_mut().zip(held) {
                *value -= gain * held;
            }
        }
        gain
    }

    /// Makes one number uncertain again, about a value.
    pub fn frees(&mut self, place: usize, mean: f64, variance: f64) {
        self.mean[place] = mean;
        for other in 0..N {
            self.cov[place][other] = 0.0;
            self.cov[other][place] = 0.0;
        }
        self.cov[place][place] = variance;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn vector(values: &[f64]) -> Vector {
        std::array::from_fn(|place| values.get(place).copied().unwrap_or_default())
    }

    proptest! {
        /// What is believed never becomes surer than certain, nor lopsided.
        #[test]
        fn covariances_stay_covariances(steps in proptest::collection::vec((0.1..20.0_f64, -1.0..1.0_f64, 0.0..1.0_f64), 1..80)) {
            let mut state = Gaussian::new(vector(&[6.0]), [4.0, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01]);
            for (weeks, news, wave) in steps {
                let keep = (-0.1 * weeks).exp();
                state.moves(&Motion {
                    keep: [1.0, keep, keep, 1.0, 1.0, 1.0, 1.0],
                    gain: (1.0 - keep) / 0.1,
                    noise: [1e-6 * weeks; N],
                });
                let view = View { row: [1.0, 0.0, 1.0, wave, 1.0 - wave, 0.5, -0.5], noise: 1e-4 };
                let before = state.variance(&view);
                state.learns(&view, news);
                prop_assert!(state.variance(&view) <= before);
                for one in 0..N {
                    prop_assert!(state.cov[one][one] >= 0.0);
                    for other in 0..N {
                        let (here, there) = (state.cov[one][other], state.cov[other][one]);
                        prop_assert!((here - there).abs() <= 1e-9 * (1.0 + here.abs()));
                    }
                }
            }
        }
    }
}
