//! When a loss may have begun, and how fast it may go on: each onset run through the same filter as the readings, so
//! that what the filter takes for a new normal is counted, too (Willsky & Jones 1976, IEEE Trans Autom Control
//! 21:108).

use super::filter::{Motion, Vector, View};
use serde::{Deserialize, Serialize};

/// Onsets that are kept in mind.
const KEPT: usize = 26;
/// Slowest and fastest loss that is looked for, in ln mass a week.
const RAMP: [f64; 2] = [0.003, 0.06];
/// Smallest and largest loss at once, in ln mass.
const STEP: [f64; 2] = [0.03, 0.4];

/// Spread of what is thought of a size before there are readings: of a loss by the week, and of one at once. A size
/// that few readings tell is drawn towards nothing by it, so that no figure is printed from two or three of them.
const SLOW_SIZE: f64 = 0.015;
const SHARP_SIZE: f64 = 0.1;

/// How a loss goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Course {
    /// Bit by bit.
    Slow,
    /// At once.
    Sharp,
}

/// A loss, or a gain, that explains readings better than none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Change {
    /// ln of how many times more likely it makes them.
    pub(super) odds: f64,
    /// Moment of its onset, in weeks.
    pub(super) since: f64,
    pub(super) course: Course,
    /// By how much ln mass has changed by now.
    pub(super) now: f64,
    /// By how much it has moved the filter.
    pub(super) moved: Vector,
    /// ln grams that were to be expected without it, where something else than the filter says so.
    pub(super) before: Option<f64>,
    /// How fast that was growing, in ln mass a week, likewise.
    pub(super) pace: Option<f64>,
}

/// One course from one onset.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Trial {
    /// By how much a change of one unit has moved the filter.
    moved: Vector,
    /// What readings say for it, and how much they can say.
    along: f64,
    power: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Onset {
    at: f64,
    readings: u32,
    slow: Trial,
    sharp: Trial,
}

/// All onsets that are kept in mind, oldest first.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Onsets(Vec<Onset>);

impl Trial {
    fn takes(&mut self, signal: f64, view: &View, news: f64, variance: f64, gain: &Vector) {
        let expected = signal - view.of(&self.moved);
        self.along += news * expected / variance;
        self.power += expected * expected / variance;
        for (moved, gain) in self.moved.iter_mut().zip(gain) {
            *moved += gain * expected;
        }
    }

    /// The best size of a loss, within bounds, and its odds.
    fn best(&self, sign: f64, course: Course, [least, most]: [f64; 2]) -> Option<(f64, f64)> {
        let thought: f64 = if course == Course::Slow { SLOW_SIZE } else { SHARP_SIZE };
        let size = (sign * self.along / (self.power + thought.powi(-2))).clamp(least, most);
        let odds = sign * size * self.along - 0.5 * size * size * self.power;
        (odds > 0.0).then_some((sign * size, odds))
    }
}

impl Onsets {
    pub(super) fn moves(&mut self, motion: &Motion) {
        for onset in &mut self.0 {
            motion.apply(&mut onset.slow.moved);
            motion.apply(&mut onset.sharp.moved);
        }
    }

    /// Takes in the news of a reading; one more change may have begun at `begun`.
    pub(super) fn takes(
        &mut self,
        begun: f64,
        now: f64,
        view: &View,
        news: f64,
        variance: f64,
        gain: &Vector,
    ) {
        self.0.push(Onset { at: begun, readings: 0, slow: Trial::default(), sharp: Trial::default() });
        if self.0.len() > KEPT {
            self.0.remove(0);
        }
        for onset in &mut self.0 {
            onset.readings += 1;
            onset.slow.takes(now - onset.at, view, news, variance, gain);
            onset.sharp.takes(1.0, view, news, variance, gain);
        }
    }

    /// The likeliest loss, if one is likelier than none; it rests on two readings or more.
    pub(super) fn loss(&self, now: f64) -> Option<Change> {
        self.likeliest(now, -1.0, 2)
    }

    /// The likeliest gain.
    pub(super) fn gain(&self, now: f64) -> Option<Change> {
        self.likeliest(now, 1.0, 3)
    }

    /// The likeliest change of a sign. How much it is by now is the mean of all that explain the readings, each as
    /// it is likely: which onset is the likeliest of all is much a matter of chance.
    fn likeliest(&self, now: f64, sign: f64, readings: u32) -> Option<Change> {
        let all = || {
            let kept = self.0.iter().filter(|onset| onset.readings >= readings);
            kept.flat_map(|onset| [Course::Slow, Course::Sharp].map(|course| onset.change(now, sign, course)))
                .flatten()
        };
        let best = all().max_by(|a, b| a.odds.total_cmp(&b.odds))?;
        let mut mean = Change { now: 0.0, moved: Vector::default(), ..best };
        let mut weights = 0.0;
        for one in all() {
            let weight = (one.odds - best.odds).exp();
            weights += weight;
            mean.now += weight * one.now;
            for (sum, moved) in mean.moved.iter_mut().zip(one.moved) {
                *sum += weight * moved;
            }
        }
        mean.now /= weights;
        mean.moved = mean.moved.map(|sum| sum / weights);
        Some(mean)
    }

    pub(super) fn clear(&mut self) {
        self.0.clear();
    }
}

impl Onset {
    fn change(&self, now: f64, sign: f64, course: Course) -> Option<Change> {
        let (trial, bounds, unit) = match course {
            Course::Slow => (&self.slow, RAMP, now - self.at),
            Course::Sharp => (&self.sharp, STEP, 1.0),
        };
        let (size, odds) = trial.best(sign, course, bounds)?;
        let moved = trial.moved.map(|moved| size * moved);
        Some(Change { odds, since: self.at, course, now: size * unit, moved, before: None, pace: None })
    }
}
