//! A loss of a group that is being treated: its recovery is watched against what they shared before it.

use super::cause::Cause;
use super::filter::{Vector, View};
use super::onsets::{Change, Course};
use serde::{Deserialize, Serialize};

/// Below what they shared when the treatment began, in ln mass, at which the loss goes on: what two mornings and the
/// readings of a few animals err by is 0.008.
const WORSE: f64 = 0.013;
/// Weeks in which a treatment must have made up for some of it, and in which a scale must be right again; and how much must
/// be left then to tell of it again.
const TO_RECOVER: f64 = 8.0;
const TO_MEND: f64 = 1.5;
const LEFT: f64 = 0.7;
/// A part of the most that was lost, and ln mass, at which it counts as made up for, by so many rounds in a row.
const MADE_UP: f64 = 0.4;
const LEAST_MADE_UP: f64 = 0.012;
const ROUNDS_MADE_UP: u8 = 2;

/// A loss of a group that a person has settled as treated.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Treated {
    /// When it was settled, in weeks, and what they shared by then.
    at: f64,
    from: f64,
    /// When the loss began, and what they were to share without it.
    since: f64,
    before: f64,
    course: Course,
    odds: f64,
    /// The most that was lost, in ln mass.
    worst: f64,
    made_up: u8,
    /// Weeks until something must have been made up for.
    within: f64,
    /// It goes on, or nothing was made up for.
    again: bool,
    /// The season as it was known when it was settled: what is lost since must not be taken for season.
    season: Vector,
    /// What the latest round shares, and the latest two.
    last: f64,
    shared: f64,
}

impl Treated {
    /// A loss at a moment at which they share so much.
    pub(super) fn new(at: f64, shared: f64, season: Vector, loss: &Change, cause: Cause) -> Self {
        Self {
            within: if cause == Cause::Scale { TO_MEND } else { TO_RECOVER },
            season,
            last: shared,
            shared,
            at,
            from: shared,
            since: loss.since,
            before: shared - loss.now,
            course: loss.course,
            odds: loss.odds,
            worst: -loss.now,
            made_up: 0,
            again: false,
        }
    }

    /// It is settled as treated once more.
    pub(super) const fn anew(self, at: f64) -> Self {
        Self { at, from: self.shared, made_up: 0, again: false, ..self }
    }

    /// Follows it by how far a round was off what is expected of each alone; nothing once it is made up for.
    pub(super) fn follows(mut self, at: f64, off: f64, view: &View) -> Option<Self> {
        let now = off - view.of(&self.season);
        let shared = 0.6 * now + 0.4 * self.last;
        (self.last, self.shared) = (now, shared);
        let lost = self.before - shared;
        self.made_up = if lost < (MADE_UP * self.worst).max(LEAST_MADE_UP) { self.made_up + 1 } else { 0 };
        if self.made_up >= ROUNDS_MADE_UP {
            return None;
        }
        let stays = at - self.at > self.within && lost > LEFT * self.worst;
        self.again |= stays || shared < self.from - WORSE;
        self.worst = self.worst.max(lost);
        Some(self)
    }

    /// The loss from the beginning, and whether it is to be told again; `more` is what was lost since, if that is likely.
    pub(super) fn loss(&self, more: Option<&Change>) -> (Change, bool) {
        let now = (self.shared - self.before).min(more.map_or(0.0, |more| more.now));
        let odds = more.map_or(self.odds, |more| more.odds.max(self.odds));
        let Self { since, course, .. } = *self;
        let moved = Default::default();
        (Change { odds, since, course, now, moved, before: None, pace: None }, self.again)
    }
}
