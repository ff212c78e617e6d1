//! Readings that do not fit: they wait for one that agrees, and never for long.

use super::animal::{Animal, Around, LEVEL, SLOPE, Seen, WANDER};
use super::answer::Entry;
use super::open::Fall;
use super::stage::Stage;
use serde::{Deserialize, Serialize};

/// Spreads, and ln mass, beyond which a reading waits for another.
const DOUBT: f64 = 3.6;
const LEAST_DOUBT: f64 = 0.085;
/// How far apart two readings may lie, in ln mass, to confirm each other, unless the animal's own noise says more.
const ALIKE: f64 = 0.04;
/// Weeks within which the same again confirms nothing: half an hour for the very number, a day where a known slip
/// explains both.
const MINUTES: f64 = 0.5 / 168.0;
const DAY: f64 = 1.0 / 7.0;
/// How many times as far off the second may be, of two readings of one that grows otherwise than was thought.
const MOST_MORE: f64 = 3.0;
/// Readings in a row that wait, at most.
const MOST_WAITING: u32 = 2;

/// A reading that waits for another.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Waiting {
    at: f64,
    /// ln grams as they were entered.
    shown: f64,
    /// ln mass off what was expected.
    off: f64,
    /// Readings in a row that did not fit.
    row: u32,
    /// A known slip explains it.
    slip: bool,
}

/// What is known of a reading that may not fit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Odd {
    /// A known slip explains it.
    pub(super) slip: bool,
    /// A person vouches for it.
    pub(super) accepted: bool,
}

/// How far off a reading may be before it waits for another, given its spread, in ln mass.
pub(super) fn reach(spread: f64) -> f64 {
    (DOUBT * spread).max(LEAST_DOUBT)
}

impl Animal {
    /// A reading that does not fit waits for one that agrees, and for no more than two others; or for a person who vouches
    /// for it.
    pub(super) fn doubts(
        &mut self,
        seen: &Seen,
        news: f64,
        (expected, spread): (f64, f64),
        Odd { slip, accepted }: Odd,
        around: &Around,
    ) -> Entry {
        let new = Waiting { at: seen.at, shown: seen.shown, off: news, row: 1, slip };
        if accepted {
            let before = self.waiting.filter(|waiting| self.agrees(waiting, (seen.at, news), around));
            self.believes(seen, (before.unwrap_or(new), news), (expected, spread), true, around);
            return if before.is_some() { Entry::Confirms } else { Entry::Accepted };
        }
        let Some(waiting) = self.waiting else {
            self.waiting = Some(new);
            return Entry::Waits;
        };
        // The same slip once more: typed twice, or entered in the same unit again.
        let since = seen.at - waiting.at;
        let same = seen.shown.total_cmp(&waiting.shown).is_eq();
        if (same && since < MINUTES) || (slip && waiting.slip && since < DAY) {
            return Entry::Waits;
        }
        let agrees = self.agrees(&waiting, (seen.at, news), around);
        // What is entered again and again on one day, and never the same, is one doubt.
        let row = waiting.row + u32::from(since >= DAY);
        if !agrees && row <= MOST_WAITING {
            self.waiting = Some(Waiting { row, ..new });
            return Entry::Waits;
        }
        self.believes(seen, (waiting, news), (expected, spread), agrees, around);
        if agrees { Entry::Confirms } else { Entry::Outlasts }
    }

    /// It weighs what a reading says that did not fit, and what one before it said that `agrees`.
    fn believes(
        &mut self,
        seen: &Seen,
        (waiting, news): (Waiting, f64),
        (expected, spread): (f64, f64),
        agrees: bool,
        around: &Around,
    ) {
        let since = seen.at - waiting.at;
        let growing = self.stage == Stage::Growing;
        let off = if agrees && !growing { 0.5 * (waiting.off + news) } else { news };
        let pace = self.slope();
        if agrees && off < -LEAST_DOUBT {
            let odds = (off / spread).powi(2);
            self.sharp = Some(Fall { since: waiting.at, before: expected, pace, odds });
        }
        // It weighs that now.
        self.waiting = None;
        self.state.frees(LEVEL, self.state.mean[LEVEL] + off, 0.03 * 0.03);
        self.state.frees(WANDER, 0.0, around.noise.wander.powi(2));
        if growing {
            // Whether it grows otherwise, or is otherwise, the next readings say.
            let other = if agrees && since >= DAY { (news - waiting.off) / since } else { 0.0 };
            let doubt = 0.02 + 0.5 * off.abs() / (seen.at - self.counted_at()).max(0.5);
            self.state.frees(SLOPE, pace + other, doubt * doubt);
        }
        self.onsets.clear();
        self.readings += 1;
        self.remembers(seen);
    }

    /// Whether a reading at a moment, off what was expected by so much, tells the same story as one that waits: off by
    /// as much; or, of one that grows, off by more for as long as it may grow otherwise, since the last that counts.
    fn agrees(&self, waiting: &Waiting, (at, off): (f64, f64), around: &Around) -> bool {
        let apart = (3.0 * self.own.sqrt() * around.noise.single).max(ALIKE);
        let since = waiting.at - self.counted_at();
        let more =
            if self.stage == Stage::Growing && since > 0.0 { (at - self.counted_at()) / since } else { 1.0 };
        let (one, other) = (waiting.off, waiting.off * more.min(MOST_MORE));
        (one.min(other) - apart..=one.max(other) + apart).contains(&off)
    }

    /// The moment of its latest reading that counts.
    fn counted_at(&self) -> f64 {
        self.recent.last().map_or(self.at, |(at, _)| *at)
    }
}
