//! Readings that do not fit: they wait for one that agrees, and never for long.

use super::animal::{Animal, Around, LEVEL, Seen, WANDER};
use super::answer::Entry;
use super::open::Fall;
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

/// How far off a reading may be before it waits for another, given its spread, in ln mass.
pub(super) fn reach(spread: f64) -> f64 {
    (DOUBT * spread).max(LEAST_DOUBT)
}

impl Animal {
    /// A reading that does not fit waits for one that agrees, and for no more than two others.
    pub(super) fn doubts(
        &mut self,
        seen: &Seen,
        news: f64,
        (expected, spread): (f64, f64),
        slip: bool,
        around: &Around,
    ) -> Entry {
        let new = Waiting { at: seen.at, shown: seen.shown, off: news, row: 1, slip };
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
        let apart = (3.0 * self.own.sqrt() * around.noise.single).max(ALIKE);
        let agrees = (waiting.off - news).abs() <= apart;
        // What is entered again and again on one day, and never the same, is one doubt.
        let row = waiting.row + u32::from(since >= DAY);
        if !agrees && row <= MOST_WAITING {
            self.waiting = Some(Waiting { row, ..new });
            return Entry::Waits;
        }
        let off = if agrees { 0.5 * (waiting.off + news) } else { news };
        if agrees && off < -LEAST_DOUBT {
            self.sharp = Some(Fall { since: waiting.at, before: expected, odds: (off / spread).powi(2) });
        }
        // It weighs that now.
        self.waiting = None;
        self.state.frees(LEVEL, self.state.mean[LEVEL] + off, 0.03 * 0.03);
        self.state.frees(WANDER, 0.0, around.noise.wander.powi(2));
        self.onsets.clear();
        self.readings += 1;
        self.remembers(seen);
        if agrees { Entry::Confirms } else { Entry::Outlasts }
    }
}
