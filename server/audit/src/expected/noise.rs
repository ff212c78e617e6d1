//! How far readings of healthy grown animals of one kind scatter, and for how long that is remembered: learnt from
//! how much readings of one animal differ that lie a week, a month and a quarter apart (Matheron 1963, Econ Geol
//! 58:1246), with what is usual as the first guess.

use serde::{Deserialize, Serialize};

/// Spread of single readings and of a slow wandering about what an animal weighs, and what is left of that after a
/// week.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Noise {
    pub(super) single: f64,
    pub(super) wander: f64,
    pub(super) memory: f64,
}

impl Default for Noise {
    fn default() -> Self {
        Self { single: 0.014, wander: 0.011, memory: 0.88 }
    }
}

impl Noise {
    /// Half of the mean squared difference of two readings so many weeks apart.
    fn half_square(&self, lag: f64) -> f64 {
        self.single.powi(2) + self.wander.powi(2) * (1.0 - self.memory.powf(lag))
    }
}

/// Weeks apart, least and most, of each class of pairs.
const LAGS: [[f64; 2]; 4] = [[0.5, 1.7], [2.5, 4.5], [7.0, 9.5], [14.0, 18.0]];
/// Pairs that the first guess weighs as much as, and pairs that are remembered.
const GUESSED: f64 = 80.0;
const REMEMBERED: f64 = 6000.0;
/// Differences beyond so many spreads count as that many.
const MOST: f64 = 3.0;
/// Memories that are tried.
const MEMORIES: [f64; 6] = [0.6, 0.75, 0.88, 0.93, 0.965, 0.985];

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Class {
    pairs: f64,
    half_square: f64,
    lag: f64,
}

/// What is learnt.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Learnt {
    classes: [Class; 4],
    noise: Noise,
    pairs: f64,
}

impl Default for Learnt {
    fn default() -> Self {
        let noise = Noise::default();
        let class = |[least, most]: [f64; 2]| {
            let lag = 0.5 * (least + most);
            Class { pairs: GUESSED, half_square: noise.half_square(lag), lag }
        };
        Self { classes: LAGS.map(class), noise, pairs: 0.0 }
    }
}

impl Learnt {
    pub(super) const fn noise(&self) -> Noise {
        self.noise
    }

    /// Pairs of readings that it rests on.
    pub(super) const fn pairs(&self) -> f64 {
        self.pairs
    }

    /// Two readings of an animal differ by so much, so many weeks apart.
    pub(super) fn pair(&mut self, lag: f64, difference: f64) {
        let Some(place) = LAGS.iter().position(|[least, most]| (*least..*most).contains(&lag)) else {
            return;
        };
        let class = &mut self.classes[place];
        let half = (0.5 * difference * difference).min(MOST * MOST * class.half_square);
        class.pairs = (class.pairs + 1.0).min(REMEMBERED);
        class.half_square += (half - class.half_square) / class.pairs;
        class.lag += (lag - class.lag) / class.pairs;
        self.pairs += 1.0;
    }

    /// Fits the noise to what was learnt: the memory that fits best, with spreads by least squares.
    pub(super) fn refit(&mut self) {
        let mut best = f64::INFINITY;
        for memory in MEMORIES {
            // Two spreads by weighted least squares in proportion to what is fitted.
            let [mut ss, mut sw, mut ww, mut sy, mut wy] = [0.0; 5];
            for class in &self.classes {
                let weight = class.pairs / class.half_square.powi(2);
                let part = 1.0 - memory.powf(class.lag);
                ss += weight;
                sw += weight * part;
                ww += weight * part * part;
                sy += weight * class.half_square;
                wy += weight * part * class.half_square;
            }
            let det = ss * ww - sw * sw;
            let (mut single, mut wander) = ((sy * ww - wy * sw) / det, (wy * ss - sy * sw) / det);
            if single < LEAST {
                single = LEAST;
                wander = (wy - sw * single) / ww;
            }
            if wander < LEAST {
                wander = LEAST;
                single = ((sy - sw * wander) / ss).max(LEAST);
            }
            let noise = Noise { single: single.sqrt(), wander: wander.sqrt(), memory };
            let error: f64 = self
                .classes
                .iter()
                .map(|class| class.pairs * (noise.half_square(class.lag) / class.half_square - 1.0).powi(2))
                .sum();
            if error < best {
                best = error;
                self.noise = noise;
            }
        }
    }
}

/// Smallest variance that is believed.
const LEAST: f64 = 0.004 * 0.004;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;
    use crate::stats::normal;

    /// What is learnt of animals with such noise, weighed weekly.
    fn learnt(true_noise: Noise) -> Noise {
        let mut chance = Chance::seeded(7);
        let mut learnt = Learnt::default();
        for _ in 0..30 {
            let mut draw = |sd: f64| sd * normal::quantile(chance.unit().max(1e-12));
            let mut wander = draw(true_noise.wander);
            let mut past: Vec<f64> = Vec::new();
            for _ in 0..80 {
                let fresh = (1.0 - true_noise.memory.powi(2)).sqrt();
                wander = true_noise.memory * wander + draw(true_noise.wander * fresh);
                let log = wander + draw(true_noise.single);
                for (lag, before) in (1_u8..17).zip(past.iter().rev()) {
                    learnt.pair(f64::from(lag), log - before);
                }
                past.push(log);
            }
            learnt.refit();
        }
        learnt.noise()
    }

    #[test]
    fn noise_of_a_kind_is_learnt() {
        for (single, wander, memory) in [(0.008, 0.006, 0.88), (0.03, 0.01, 0.88), (0.01, 0.035, 0.965)] {
            let found = learnt(Noise { single, wander, memory });
            for week in [1.0, 4.0, 12.0] {
                let truth = Noise { single, wander, memory }.half_square(week);
                let ratio = (found.half_square(week) / truth).sqrt();
                assert!(
                    (0.8..1.25).contains(&ratio),
                    "{found:?} for {single}, {wander}: {ratio} at {week} weeks"
                );
            }
        }
    }
}
