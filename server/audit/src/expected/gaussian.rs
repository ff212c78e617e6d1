//! A small linear-Gaussian state: what is believed of a few hidden numbers, and how sure that is (Kalman 1960,
//! J Basic Eng 82:35).

use serde::{Deserialize, Serialize};

/// Hidden numbers of a state.
pub(super) const N: usize = 7;

/// One value for each of them.
pub(super) type Vector = [f64; N];

/// Means and covariances.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Gaussian {
    pub(super) mean: Vector,
    pub(super) cov: [Vector; N],
}

/// How a state moves on over some time: each number keeps a part of itself, the first gains by the second, and all
/// become less certain.
#[derive(Clone, Copy, Debug)]
pub(super) struct Motion {
    pub(super) keep: Vector,
    /// By how much the first number gains for each unit of the second.
    pub(super) gain: f64,
    /// Variance that is added.
    pub(super) noise: Vector,
}

impl Motion {
    /// Moves a vector on.
    pub(super) fn apply(&self, vector: &mut Vector) {
        let gained = self.gain * vector[1];
        for (value, keep) in vector.iter_mut().zip(self.keep) {
            *value *= keep;
        }
        vector[0] += gained;
    }
}

/// What a reading shows: by how much each number counts in it, and the variance of what it errs by.
#[derive(Clone, Copy, Debug)]
pub(super) struct View {
    pub(super) row: Vector,
    pub(super) noise: f64,
}

impl View {
    pub(super) fn of(&self, vector: &Vector) -> f64 {
        self.row.iter().zip(vector).map(|(row, value)| row * value).sum()
    }
}

impl Gaussian {
    pub(super) fn new(mean: Vector, variances: Vector) -> Self {
        let mut cov = [[0.0; N]; N];
        for (place, variance) in variances.into_iter().enumerate() {
            cov[place][place] = variance;
        }
        Self { mean, cov }
    }

    pub(super) fn moves(&mut self, motion: &Motion) {
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
    pub(super) fn expects(&self, view: &View) -> f64 {
        view.of(&self.mean)
    }

    /// Variance of a reading about that.
    pub(super) fn variance(&self, view: &View) -> f64 {
        self.covers(view).iter().zip(view.row).map(|(held, row)| held * row).sum::<f64>() + view.noise
    }

    fn covers(&self, view: &View) -> Vector {
        std::array::from_fn(|place| view.of(&self.cov[place]))
    }

    /// Takes in by how much a reading differed from what was expected. Answers by how much each number moves for
    /// each unit of it.
    pub(super) fn learns(&mut self, view: &View, news: f64) -> Vector {
        let held = self.covers(view);
        let variance = self.variance(view);
        let gain = held.map(|held| held / variance);
        for place in 0..N {
            self.mean[place] += gain[place] * news;
            for other in 0..N {
                self.cov[place][other] -= gain[place] * held[other];
            }
        }
        gain
    }

    /// Makes one number uncertain anew, about a value.
    pub(super) fn frees(&mut self, place: usize, mean: f64, variance: f64) {
        self.mean[place] = mean;
        for other in 0..N {
            self.cov[place][other] = 0.0;
            self.cov[other][place] = 0.0;
        }
        self.cov[place][place] = variance;
    }
}
