//! A loss that was told: it stays told until it is made up for, whatever the filter has taken for normal meanwhile.

use super::animal::{Animal, LEVEL, WANDER};
use super::answer::Settled;
use super::filter::{Motion, Vector};
use super::onsets::{Change, Course};
use super::stage::Stage;
use serde::{Deserialize, Serialize};

/// A fall from one reading to the next that a second confirmed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Fall {
    pub(super) since: f64,
    /// ln grams expected before, freed.
    pub(super) before: f64,
    /// How fast that was growing.
    pub(super) pace: f64,
    pub(super) odds: f64,
}

/// A loss that was told.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Open {
    since: f64,
    course: Course,
    odds: f64,
    /// ln grams that were to be expected without it, and how fast that was growing.
    before: f64,
    pace: f64,
    /// The most that was lost, in ln mass, and when it last grew worse.
    worst: f64,
    worse_at: f64,
    /// Readings in a row by which it was made up for.
    made_up: u8,
    /// Treated since then; what it weighed by then.
    treated: Option<(f64, f64)>,
}

/// A part of the most that was lost, and ln mass, at which it counts as made up for.
const MADE_UP: f64 = 0.4;
const LEAST_MADE_UP: f64 = 0.012;
/// By so many readings in a row.
const READINGS_MADE_UP: u8 = 2;
/// Weeks after which a loss that gets no worse is what the animal weighs now.
const LASTING: f64 = 26.0;
/// The same of a young animal: what it would weigh by now is not known for longer.
const LASTING_YOUNG: f64 = 8.0;
/// ln mass that counts as worse: while it is told, and while it is treated.
const WORSE: f64 = 0.01;
const WORSE_TREATED: f64 = 0.012;
/// Weeks in which a treatment must have made up for some of it, and how much must be left then to tell of it again.
const TO_RECOVER: f64 = 8.0;
const LEFT: f64 = 0.7;
/// ln mass below the most it weighed from which a young animal has lost weight.
const GONE: f64 = 0.06;
/// How much the latest readings count, the last first.
const LATEST: [f64; 3] = [0.5, 0.3, 0.2];

impl Open {
    pub(super) fn moves(&mut self, motion: &Motion) {
        self.before += motion.gain * self.pace;
        self.pace *= motion.keep[1];
    }
}

impl Animal {
    /// The likeliest loss that is being looked for: since when, by how much, and its odds.
    pub(super) fn loss(&self) -> Option<Change> {
        let slow = self.onsets.loss(self.at);
        let fall = self.sharp.map(|fall| {
            let (level, wander) = (self.state.mean[LEVEL], self.state.mean[WANDER]);
            Change {
                odds: fall.odds,
                since: fall.since,
                course: Course::Sharp,
                now: (level + wander - fall.before).min(0.0),
                moved: Vector::default(),
                before: Some(fall.before),
                pace: Some(fall.pace),
            }
        });
        [slow, fall, self.below_base()].into_iter().flatten().max_by(|a, b| a.odds.total_cmp(&b.odds))
    }

    /// The loss that was told and is not over.
    pub(super) fn held(&self) -> Option<Change> {
        let open = self.open.filter(|open| open.treated.is_none())?;
        let now = self.below(&open, LATEST).min(-LEAST_MADE_UP);
        Some(Change {
            odds: open.odds,
            since: open.since,
            course: open.course,
            now,
            moved: Vector::default(),
            before: Some(open.before),
            pace: Some(open.pace),
        })
    }

    /// It is young, and weighs about as much as it ever did: it gains less than was expected, or nothing.
    pub(super) fn only_gains_less(&self) -> bool {
        let most = self.recent.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
        self.stage == Stage::Growing && self.recent.last().is_some_and(|(_, log)| *log > most - GONE)
    }

    pub(super) fn is_treated(&self) -> bool {
        self.open.is_some_and(|open| open.treated.is_some())
    }

    /// How far the latest readings lie below what was to be expected without an open loss, in ln mass.
    fn below(&self, open: &Open, counts: [f64; 3]) -> f64 {
        let latest = self.recent.iter().rev().zip(counts);
        let (sum, all) = latest.fold((0.0, 0.0), |(sum, all), ((at, log), counts)| {
            (sum + counts * (log - open.before + open.pace * (self.at - at)), all + counts)
        });
        sum / all
    }

    /// Follows a loss after a reading; `told` is one that is likely enough to be told.
    pub(super) fn follows(&mut self, told: Option<&Change>) {
        let Some(mut open) = self.open else {
            self.open = told.map(|change| self.opens(change));
            return;
        };
        let lost = -self.below(&open, LATEST);
        let young = self.stage == Stage::Growing;
        match open.treated {
            Some((since, from)) => {
                if lost < (MADE_UP * open.worst).max(LEAST_MADE_UP) {
                    self.open = None;
                    return;
                }
                let now = open.before - self.latest_loss(&open);
                let worse = self.recent.iter().filter(|(at, _)| *at > since).count() > 1
                    && now < from - WORSE_TREATED;
                let stays = self.at - since > TO_RECOVER && lost > LEFT * open.worst;
                if worse || stays || told.is_some() {
                    open.treated = None;
                    open.worse_at = self.at;
                }
            }
            None if told.is_none() && lost < (MADE_UP * open.worst).max(LEAST_MADE_UP) => {
                open.made_up += 1;
                if open.made_up >= READINGS_MADE_UP {
                    self.open = None;
                    return;
                }
            }
            None if self.at - open.worse_at > if young { LASTING_YOUNG } else { LASTING } => {
                self.open = None;
                self.onsets.clear();
                return;
            }
            None => open.made_up = 0,
        }
        if told.is_some() {
            open.worse_at = self.at;
        }
        if lost > open.worst + WORSE {
            open.worst = lost;
            open.worse_at = if young { open.worse_at } else { self.at };
        }
        self.open = Some(open);
    }

    /// What is lost by the latest two readings, in ln mass.
    fn latest_loss(&self, open: &Open) -> f64 {
        -self.below(open, [0.6, 0.4, 0.0])
    }

    fn opens(&self, change: &Change) -> Open {
        let before = change.before.unwrap_or(self.state.mean[LEVEL] - change.moved[LEVEL]);
        Open {
            since: change.since,
            course: change.course,
            odds: change.odds,
            before,
            pace: change.pace.unwrap_or(self.slope() - change.moved[super::animal::SLOPE]),
            worst: -change.now,
            worse_at: self.at,
            made_up: 0,
            treated: None,
        }
    }

    /// A person settled the open loss.
    pub(super) fn settles(&mut self, at: f64, how: Settled) {
        // It may have been told by what the kind taught since, with no reading after that.
        let open = self.open.or_else(|| self.loss().map(|change| self.opens(&change)));
        self.sharp = None;
        self.onsets.clear();
        match (how, open) {
            (Settled::Treated, Some(open)) => {
                let now = open.before - self.latest_loss(&open);
                self.open = Some(Open { treated: Some((at, now)), ..open });
            }
            (Settled::NewNormal, _) => {
                let level = self.state.mean[LEVEL] + self.state.mean[WANDER];
                self.state.frees(LEVEL, level, 0.02 * 0.02);
                self.open = None;
            }
            _ => self.open = None,
        }
    }
}
