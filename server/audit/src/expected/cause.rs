//! What explains best that all of a group weigh less: a loss, a scale that is off, or a season that is not known yet. Each
//! is a course of what they share, round by round, and counts by its prior and by how likely it makes the rounds, in the
//! mean of all moments at which it may have begun and of all sizes that it may have.
//!
//! What the group's filter believes is of no use here: it holds back what is sudden, so that a step looks like a slope.

use crate::terms::RecordId;
use serde::{Deserialize, Serialize};

/// Rounds that are looked at.
const KEPT: usize = 20;
/// Least step of a scale, and most, in ln mass: 2 % and 10 %. Who weighs a tenth less from one week to the next has lost
/// it, whatever the scale says.
const STEP: [f64; 2] = [0.0202, 0.105];
/// Rounds since a step by which a scale may be called off.
const STEP_ROUNDS: usize = 4;
/// How fast all of a group lose, in ln mass a week: as a loss, and as a season; what is faster is at once.
const SLOPE: [f64; 2] = [0.002, 0.03];
const SEASON: [f64; 2] = [0.002, 0.008];
/// The most that they lose at once.
const MOST: f64 = 0.4;
/// Sizes that are tried between the least and the most.
const SIZES: u32 = 9;
/// How sure an explanation must be that is no loss.
const SURE: f64 = 0.85;
/// Chosen, not learnt: a slow loss, one at once that is as small as a scale may be off, a larger one, a scale, a season
/// in the first year and later.
const SLOW: f64 = 0.6;
const SMALL: f64 = 0.02;
const LARGE: f64 = 0.05;
const SCALE: f64 = 0.2;
const FIRST_SEASON: f64 = 0.2;
const LATER_SEASON: f64 = 0.03;

/// What explains that all of a group weigh less.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// They lose: feed, water, cold, illness.
    Loss,
    /// The scale shows less from one weighing on, by 2 to 10 %, and all were weighed on it.
    Scale,
    /// A season that is not known yet.
    Season,
}

/// What a round showed of all of them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Round {
    /// Weeks.
    pub(super) at: f64,
    /// By how much ln mass they were off what was expected of each alone, less the season that is known; its variance.
    pub(super) off: f64,
    pub(super) variance: f64,
    /// The one scale that it was on.
    pub(super) scale: Option<RecordId>,
}

/// The latest rounds, in order of time.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Rounds(Vec<Round>);

/// Logarithms of likelihoods, and the prior of what they are to be averaged for.
struct Likely {
    cause: Cause,
    prior: f64,
    logs: Vec<f64>,
}

impl Rounds {
    pub(super) fn takes(&mut self, round: Round) {
        self.0.push(round);
        if self.0.len() > KEPT {
            self.0.remove(0);
        }
    }

    /// What the latest two share.
    pub(super) fn latest(&self) -> Option<f64> {
        let [.., before, last] = self.0.as_slice() else { return self.0.last().map(|round| round.off) };
        Some(0.6 * last.off + 0.4 * before.off)
    }

    pub(super) fn clear(&mut self) {
        self.0.clear();
    }

    /// What explains a loss best, and how sure that is, from 0 to 1.
    pub(super) fn cause(&self, first_year: bool) -> (Cause, f64) {
        let season = if first_year { FIRST_SEASON } else { LATER_SEASON };
        let any = |_: usize| true;
        let each = [
            self.likely(Cause::Loss, SLOW, SLOPE, true, any),
            self.likely(Cause::Loss, SMALL, STEP, false, any),
            self.likely(Cause::Loss, LARGE, [STEP[1], MOST], false, any),
            self.likely(Cause::Scale, SCALE, STEP, false, |first| self.on_one_scale(first)),
            self.likely(Cause::Season, season, SEASON, true, any),
        ];
        let most = each.iter().flat_map(|one| &one.logs).copied().fold(f64::NEG_INFINITY, f64::max);
        let onsets = self.0.len().saturating_sub(1) * SIZES as usize;
        if onsets == 0 {
            return (Cause::Loss, 0.0);
        }
        let of = |cause: Cause| -> f64 {
            let of_it = each.iter().filter(|one| one.cause == cause);
            of_it.map(|one| one.prior * one.logs.iter().map(|log| (log - most).exp()).sum::<f64>()).sum()
        };
        let all: f64 = [Cause::Loss, Cause::Scale, Cause::Season].into_iter().map(of).sum();
        // Animals come before scales: it takes more than even odds to say that they lose nothing.
        let other = [Cause::Scale, Cause::Season].into_iter().find(|cause| of(*cause) > SURE * all);
        let cause = other.unwrap_or(Cause::Loss);
        (cause, of(cause) / all)
    }

    /// All rounds from the last before one on were on one scale, and there are enough since.
    fn on_one_scale(&self, first: usize) -> bool {
        let since = &self.0[first - 1..];
        let scale = since[0].scale;
        since.len() > STEP_ROUNDS && scale.is_some() && since.iter().all(|round| round.scale == scale)
    }

    /// How likely rounds are where something begins with one of those that `may` be the first, in the middle between it
    /// and the one before; against none, whatever they were off by until then.
    fn likely(
        &self,
        cause: Cause,
        prior: f64,
        [least, most]: [f64; 2],
        slow: bool,
        may: impl Fn(usize) -> bool,
    ) -> Likely {
        let all: f64 = self.0.iter().map(|round| round.variance.recip()).sum();
        let mean = |of: &dyn Fn(&Round) -> f64| -> f64 {
            self.0.iter().map(|round| of(round) / round.variance).sum::<f64>() / all
        };
        let off = mean(&|round| round.off);
        let mut logs = Vec::new();
        for first in (1..self.0.len()).filter(|first| may(*first)) {
            let begun = 0.5 * (self.0[first - 1].at + self.0[first].at);
            let unit = |round: &Round| match (round.at < begun, slow) {
                (true, _) => 0.0,
                (false, true) => round.at - begun,
                (false, false) => 1.0,
            };
            let middle = mean(&unit);
            let (mut along, mut power) = (0.0, 0.0);
            for round in &self.0 {
                let unit = unit(round) - middle;
                along -= unit * (round.off - off) / round.variance;
                power += unit * unit / round.variance;
            }
            logs.extend((0..SIZES).map(|step| {
                let size = least + (most - least) * f64::from(step) / f64::from(SIZES - 1);
                size * along - 0.5 * size * size * power
            }));
        }
        Likely { cause, prior, logs }
    }
}
