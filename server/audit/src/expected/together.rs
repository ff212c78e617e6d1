//! What like animals of a group do together: season, feed, a cold morning.

use super::animal::{YEAR, waves};
use super::answer::{Loss, percent, severity};
use super::filter::{Gaussian, Motion, N, View};
use super::group::instant;
use super::known::Known;
use super::onsets::{Change, Course, Onsets};
use super::rate::Whose;
use crate::terms::RecordId;
use serde::{Deserialize, Serialize};

/// What a morning does to all of a group, as a standard deviation of ln mass.
const MORNING: f64 = 0.009;
/// Weeks within which a round goes on.
const SAME_DAY: f64 = 0.1;
/// Fewest that show what they share.
const FEWEST: usize = 3;

/// Where several show what they share, the others are believed more than what was foreseen, by a spread of so much:
/// what all of them lose must not be taken for what each of them does.
const WIDE: f64 = 0.02;
/// Smallest loss of a group that matters, in ln mass.
const LEAST: f64 = 0.02;
/// Weeks within which a season is not known yet.
const FIRST_YEAR: f64 = 56.0;
/// Least step of a scale, as a part, and most, in ln mass; readings since it.
const SCALE_STEP: f64 = 0.02;
const SCALE_MOST: f64 = 0.06;
const SCALE_READINGS: u32 = 4;
/// The fastest that all of a group lose, in ln mass a week; what is faster is at once.
const FASTEST: f64 = 0.03;
/// How sure an explanation must be that is no loss.
const SURE: f64 = 0.85;

/// What explains that all of a group weigh less.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// They lose: feed, water, cold, illness.
    Loss,
    /// The scale shows less from one weighing on, by 2 % or more, and all were weighed on it.
    Scale,
    /// A season that is not known yet.
    Season,
}

/// A loss of a group as one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Whole {
    /// What it loses.
    pub loss: Loss,
    /// What explains it best.
    pub cause: Cause,
    /// How sure that is, from 0 to 1. The priors are chosen, not learnt: a slow loss 0.6, a sudden one up to 6 % 0.02
    /// and beyond 0.05, a scale 0.2, a season 0.2 in the first year and 0.03 later.
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
    /// Since when it is on record.
    began: f64,
    /// The scale that all rounds were on, and since when.
    scale: Option<(RecordId, f64)>,
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
        Self {
            like,
            state: Gaussian::new([0.0; N], variances),
            at,
            onsets: Onsets::default(),
            peak: 0.0,
            began: at,
            scale: None,
            today: None,
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
    pub(super) fn takes(&mut self, at: f64, offs: &[Off], on: Option<RecordId>) {
        if on != self.scale.map(|(scale, _)| scale) {
            self.scale = on.map(|scale| (scale, at));
        }
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

    /// What it lost so far no longer counts.
    pub(super) fn settles(&mut self) {
        self.onsets.clear();
    }

    /// The likeliest loss that matters.
    pub(super) fn sought(&self) -> Option<Change> {
        self.onsets.loss(self.at).filter(|loss| loss.now < -LEAST)
    }

    /// The same as people hear of it.
    pub(super) fn whole(&self, known: &Known) -> Option<Whole> {
        let change = self.sought()?;
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
            told: known.is_told(a_year),
        };
        let (cause, sure) = self.cause();
        Some(Whole { loss, cause, sure })
    }

    /// What explains a loss best, and how sure that is (0 to 1): each explanation by its prior and its likelihood.
    fn cause(&self) -> (Cause, f64) {
        let odds = |course: Course, sizes: [f64; 2], readings: u32, from: f64| {
            self.onsets.fall(course, sizes, readings, from).map_or(0.0, |odds| odds.exp())
        };
        let first_year = self.at - self.began < FIRST_YEAR;
        let slow = odds(Course::Slow, [0.002, FASTEST], 2, f64::MIN);
        let gentle = odds(Course::Slow, [0.002, 0.008], 2, f64::MIN);
        let small = odds(Course::Sharp, [0.02, SCALE_MOST], 2, f64::MIN);
        let large = odds(Course::Sharp, [SCALE_MOST, 0.4], 2, f64::MIN);
        // All that was weighed before and since the step was weighed on one scale.
        let step = self.scale.map_or(0.0, |(_, since)| {
            odds(Course::Sharp, [-(-SCALE_STEP).ln_1p(), SCALE_MOST], SCALE_READINGS, since)
        });
        let each = [
            (Cause::Loss, 0.6 * slow + 0.02 * small + 0.05 * large),
            (Cause::Scale, 0.2 * step),
            (Cause::Season, if first_year { 0.2 } else { 0.03 } * gentle),
        ];
        let all: f64 = each.iter().map(|(_, likely)| likely).sum();
        // Animals come before scales: it takes more than even odds to say that they lose nothing.
        let is_sure = |(cause, likely): &(Cause, f64)| *cause == Cause::Loss || *likely > SURE * all;
        let sure = each.into_iter().filter(is_sure);
        let (cause, likely) =
            sure.fold((Cause::Loss, 0.0), |best, one| if one.1 > best.1 { one } else { best });
        if all > 0.0 { (cause, likely / all) } else { (Cause::Loss, 0.0) }
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
