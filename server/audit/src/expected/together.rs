//! What like animals of a group do together: season, feed, a cold morning.

use super::animal::{YEAR, waves};
use super::answer::{Loss, Settled, percent, severity};
use super::cause::{Cause, Round, Rounds};
use super::filter::{Gaussian, Motion, N, View};
use super::group::instant;
use super::known::Known;
use super::onsets::{Change, Onsets};
use super::rate::Whose;
use super::treated::Treated;
use crate::terms::RecordId;
use serde::{Deserialize, Serialize};

/// What a morning does to all of a group, as a standard deviation of ln mass.
const MORNING: f64 = 0.009;
/// Weeks within which a round goes on.
const SAME_DAY: f64 = 0.1;
/// Fewest that show what they share.
pub(super) const FEWEST: usize = 3;

/// Where several show what they share, the others are believed more than what was foreseen, by a spread of so much:
/// what all of them lose must not be taken for what each of them does.
const WIDE: f64 = 0.02;
/// Smallest loss of a group that matters, in ln mass.
const LEAST: f64 = 0.02;
/// Weeks within which a season is not known yet.
const FIRST_YEAR: f64 = 56.0;
/// How sure it is what they share from now on, once a person has said that it is normal, in ln mass.
const NORMAL: f64 = 0.01;

/// A loss of a group as one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Whole {
    /// What it loses.
    pub loss: Loss,
    /// What explains it best.
    pub cause: Cause,
    /// How sure that is, from 0 to 1.
    pub sure: f64,
}

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
    /// Rounds that showed what they share, and since when; none where hardly any live together: then each has all of it
    /// for its own.
    rounds: u32,
    began: f64,
    /// What the latest rounds showed.
    late: Rounds,
    /// What the latest round shared, and when.
    today: Option<(f64, Part)>,
    /// A loss that is being treated.
    treated: Option<Treated>,
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
        let [one, two, three] = waves_of_all(seasonal).map(|spread| spread * spread);
        let variances = match like {
            Like::Grown => [0.01 * 0.01, one, one, two, two, three, three],
            Like::Growing => [0.02 * 0.02, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        };
        Self {
            like,
            state: Gaussian::new([0.0; N], variances),
            at,
            onsets: Onsets::default(),
            peak: 0.0,
            rounds: 0,
            began: at,
            late: Rounds::default(),
            today: None,
            treated: None,
        }
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

    /// Whether those of a round of so many animals have nobody to share anything with.
    pub(super) const fn is_alone(&self, animals: usize) -> bool {
        self.rounds == 0 && animals < FEWEST
    }

    /// What the growing shared when they were last weighed.
    pub(super) const fn last(&self) -> f64 {
        self.state.mean[0]
    }

    /// What a round of so many animals at a moment is expected to share.
    pub(super) fn foresees(&self, at: f64, animals: usize) -> Part {
        if let Some((then, part)) = self.today.filter(|(then, _)| (at - then).abs() < SAME_DAY) {
            return Part { mean: part.mean, variance: part.variance + 1e-5 * (at - then).abs() };
        }
        if self.is_alone(animals) {
            return Part { mean: 0.0, variance: MORNING * MORNING };
        }
        let mut state = self.state.clone();
        state.moves(&self.motion(at));
        let view = Self::view(at, MORNING * MORNING);
        Part { mean: state.expects(&view), variance: state.variance(&view) }
    }

    /// What each of a round shares with the others: what was foreseen, and what the others show.
    pub(super) fn of_each(&self, at: f64, animals: usize, offs: &[Off]) -> Vec<Part> {
        let prior = self.foresees(at, animals);
        let weights = weights(offs, prior.mean);
        let (sum, all) = weights
            .iter()
            .zip(offs)
            .fold((0.0, 0.0), |(sum, all), (weight, off)| (sum + weight * off.log, all + weight));
        let wide = if offs.len() > FEWEST { WIDE * WIDE } else { 0.0 };
        let known = (prior.variance + wide).recip();
        weights
            .iter()
            .zip(offs)
            .map(|(weight, off)| {
                let others = known + all - weight;
                Part {
                    mean: (known * prior.mean + sum - weight * off.log) / others,
                    variance: others.recip(),
                }
            })
            .collect()
    }

    /// Takes in a round.
    pub(super) fn takes(&mut self, at: f64, animals: usize, offs: &[Off], on: Option<RecordId>) {
        let prior = self.foresees(at, animals);
        self.today = Some((at, together(prior, offs)));
        let motion = self.motion(at);
        let begun = 0.5 * (self.at + at);
        self.state.moves(&motion);
        self.onsets.moves(&motion);
        self.at = at;
        if offs.len() < FEWEST {
            return;
        }
        if self.rounds == 0 {
            self.began = at;
        }
        self.rounds += 1;
        let weights = weights(offs, self.state.expects(&Self::view(at, 0.0)));
        let all: f64 = weights.iter().sum();
        let middle = weights.iter().zip(offs).map(|(weight, off)| weight * off.log).sum::<f64>() / all;
        let view = Self::view(at, MORNING * MORNING + all.recip());
        let season = view.of(&self.state.mean) - self.state.mean[0];
        self.late.takes(Round { at, off: middle - season, variance: view.noise, scale: on });
        let (expected, variance) = (self.state.expects(&view), self.state.variance(&view));
        let most = 3.0 * variance.sqrt();
        let news = (middle - expected).clamp(-most, most);
        let gain = self.state.learns(&view, news);
        self.onsets.takes(begun, at, &view, news, variance, &gain);
        self.treated = self.treated.and_then(|treated| treated.follows(at, middle, &view));
    }

    /// A person settled what they lost so far.
    pub(super) fn settles(&mut self, at: f64, how: Settled) {
        let shared = self.late.latest();
        let loss = self.sought();
        let (cause, _) = self.late.cause(self.is_first_year());
        self.onsets.clear();
        self.treated = match (how, shared) {
            (Settled::Treated, Some(shared)) => {
                let mut season = self.state.mean;
                season[0] = 0.0;
                let first = || loss.map(|loss| Treated::new(at, shared, season, &loss, cause));
                self.treated.map(|treated| treated.anew(at)).or_else(first)
            }
            _ => None,
        };
        if self.treated.is_some() {
            // The rounds say what it is still.
            return;
        }
        self.late.clear();
        if let Some(shared) = shared.filter(|_| how == Settled::NewNormal) {
            self.state.frees(0, shared, NORMAL * NORMAL);
        }
    }

    /// A season is not known yet.
    fn is_first_year(&self) -> bool {
        self.at - self.began < FIRST_YEAR
    }

    /// The likeliest loss that matters.
    pub(super) fn sought(&self) -> Option<Change> {
        self.onsets.loss(self.at).filter(|loss| loss.now < -LEAST)
    }

    /// The same as people hear of it.
    pub(super) fn whole(&self, known: &Known) -> Option<Whole> {
        let sought = self.sought();
        let likely = sought.filter(|change| known.is_told(known.a_year(Whose::Group, change.odds)));
        let (change, told) = match (self.treated, sought) {
            (Some(treated), _) => {
                let (change, again) = treated.loss(likely.as_ref());
                (change, again || likely.is_some())
            }
            (None, Some(change)) => (change, likely.is_some()),
            (None, None) => return None,
        };
        let a_year = known.a_year(Whose::Group, change.odds);
        let percent = percent(change.now);
        let loss = Loss {
            since: instant(change.since),
            course: change.course,
            percent,
            gains_less: false,
            severity: severity(percent),
            odds: change.odds,
            a_year,
            told,
        };
        let (cause, sure) = self.late.cause(self.is_first_year());
        Some(Whole { loss, cause, sure })
    }
}

/// How far the season moves all of a kind, as spreads of ln mass: by one wave a year, by two, by three.
pub(super) const fn waves_of_all(seasonal: bool) -> [f64; 3] {
    if seasonal { [0.07, 0.025, 0.008] } else { [0.025, 0.01, 0.005] }
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
