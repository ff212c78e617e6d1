//! What like animals of a group do together: season, feed, a cold morning.

use super::animal::{YEAR, waves};
use super::gaussian::{Gaussian, Motion, N, View};
use super::onsets::{Change, Onsets};
use serde::{Deserialize, Serialize};

/// What a morning does to all of a group, as a standard deviation of ln mass.
const MORNING: f64 = 0.009;
/// Weeks within which a round goes on.
const SAME_DAY: f64 = 0.1;
/// Fewest that show what they share.
const FEWEST: usize = 3;

/// Which animals are like one another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Like {
    Grown,
    Growing,
}

/// What they share.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Shared {
    like: Like,
    state: Gaussian,
    pub(super) at: f64,
    onsets: Onsets,
    /// What the open episode of odds reached.
    pub(super) peak: f64,
    /// What the latest round shared, and when.
    today: Option<(f64, Part)>,
}

/// One animal of a round against what was expected of it alone.
#[derive(Clone, Copy, Debug)]
pub(super) struct Off {
    pub(super) log: f64,
    pub(super) variance: f64,
}

/// A value with its variance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Part {
    pub(super) mean: f64,
    pub(super) variance: f64,
}

impl Shared {
    pub(super) fn new(like: Like, at: f64, seasonal: bool) -> Self {
        let wave = |known: f64, usual: f64| if seasonal { known * known } else { usual * usual };
        let (one, two, three) = (wave(0.07, 0.025), wave(0.025, 0.01), wave(0.008, 0.005));
        let variances = match like {
            Like::Grown => [0.01 * 0.01, one, one, two, two, three, three],
            Like::Growing => [0.02 * 0.02, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        };
        Self { like, state: Gaussian::new([0.0; N], variances), at, onsets: Onsets::default(), peak: 0.0, today: None }
    }

    fn motion(&self, at: f64) -> Motion {
        let weeks = (at - self.at).max(0.0);
        let (kept, fresh): (f64, f64) = match self.like {
            Like::Grown => (0.99, 0.004),
            Like::Growing => (0.7, 0.008),
        };
        let keep = kept.powf(weeks);
        let season = if self.like == Like::Grown { 4e-7 * weeks } else { 0.0 };
        Motion {
            keep: [keep, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0],
            gain: 0.0,
            noise: [fresh * fresh * weeks, season, season, season, season, season, season],
        }
    }

    fn view(at: f64, noise: f64) -> View {
        let [cos, sin, cos2, sin2] = waves(at);
        let (sin3, cos3) = (3.0 * std::f64::consts::TAU * at / YEAR).sin_cos();
        View { row: [1.0, cos, sin, cos2, sin2, cos3, sin3], noise }
    }

    /// What a round at a moment is expected to share.
    pub(super) fn foresees(&self, at: f64) -> Part {
        if let Some((then, part)) = self.today.filter(|(then, _)| (at - then).abs() < SAME_DAY) {
            return Part { mean: part.mean, variance: part.variance + 1e-5 * (at - then).abs() };
        }
        let mut state = self.state.clone();
        state.moves(&self.motion(at));
        let view = Self::view(at, MORNING * MORNING);
        Part { mean: state.expects(&view), variance: state.variance(&view) }
    }

    /// What each of a round shares with the others: what was foreseen, and what the others show.
    pub(super) fn of_each(&self, at: f64, offs: &[Off]) -> Vec<Part> {
        let prior = self.foresees(at);
        let weights = weights(offs, prior.mean);
        let (sum, all) = weights
            .iter()
            .zip(offs)
            .fold((0.0, 0.0), |(sum, all), (weight, off)| (sum + weight * off.log, all + weight));
        let known = prior.variance.recip();
        weights
            .iter()
            .zip(offs)
            .map(|(weight, off)| {
                let others = known + all - weight;
                Part { mean: (known * prior.mean + sum - weight * off.log) / others, variance: others.recip() }
            })
            .collect()
    }

    /// Takes in a round.
    pub(super) fn takes(&mut self, at: f64, offs: &[Off]) {
        let prior = self.foresees(at);
        self.today = Some((at, together(prior, offs)));
        let motion = self.motion(at);
        let begun = 0.5 * (self.at + at);
        self.state.moves(&motion);
        self.onsets.moves(&motion);
        self.at = at;
        if offs.len() < FEWEST {
            return;
        }
        let weights = weights(offs, self.state.expects(&Self::view(at, 0.0)));
        let all: f64 = weights.iter().sum();
        let middle = weights.iter().zip(offs).map(|(weight, off)| weight * off.log).sum::<f64>() / all;
        let view = Self::view(at, MORNING * MORNING + all.recip());
        let (expected, variance) = (self.state.expects(&view), self.state.variance(&view));
        let most = 3.0 * variance.sqrt();
        let news = (middle - expected).clamp(-most, most);
        let gain = self.state.learns(&view, news);
        self.onsets.takes(begun, at, &view, news, variance, &gain);
    }

    pub(super) fn loss(&self) -> Option<Change> {
        self.onsets.loss(self.at)
    }
}

/// What a round shares, by all of it.
fn together(prior: Part, offs: &[Off]) -> Part {
    let weights = weights(offs, prior.mean);
    let known = prior.variance.recip();
    let all = known + weights.iter().sum::<f64>();
    let sum: f64 = weights.iter().zip(offs).map(|(weight, off)| weight * off.log).sum();
    Part { mean: (known * prior.mean + sum) / all, variance: all.recip() }
}

/// How much each counts: by its variance, and less the further it lies from the middle.
fn weights(offs: &[Off], prior: f64) -> Vec<f64> {
    let mut logs: Vec<f64> = offs.iter().map(|off| off.log).collect();
    if logs.len() == 2 {
        logs.push(prior);
    }
    let middle = crate::stats::median_mad::median(&mut logs).unwrap_or(prior);
    offs.iter()
        .map(|off| {
            let far = (off.log - middle).abs() / off.variance.sqrt();
            (2.0 / far.max(2.0)) / off.variance
        })
        .collect()
}
