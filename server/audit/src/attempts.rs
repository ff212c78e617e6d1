//! How an animal takes to the scale: moved on by each attempt.

use crate::stats::count;
use crate::terms::{Instant, RecordId};
use serde::{Deserialize, Serialize};

/// How rare a row of refusals must be by the animal's own habit. It is asked at every attempt, some
/// fifty times a year.
const RARE: f64 = 0.0005;
/// Fewest refusals in a row that are told.
const FEWEST: usize = 3;
/// Most that are kept: a longer row is told as this one.
const KEPT: usize = 60;

/// Attempts to weigh an animal. Plain data: kept as JSON it is read back bit by bit.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Attempts {
    /// Attempts until it came last, and those of them that it refused.
    until: u32,
    refused: u32,
    /// Refusals since.
    row: Vec<(Instant, RecordId)>,
}

/// A row of refusals that is not its habit.
#[derive(Clone, Debug, PartialEq)]
pub struct Refusal {
    /// Since when.
    pub since: Instant,
    /// How many in a row.
    pub in_a_row: usize,
    /// How often it refused before, in %.
    pub usual_percent: f64,
    /// Chance of such a row by its habit.
    pub chance: f64,
    /// The records.
    pub records: Vec<RecordId>,
}

impl Attempts {
    /// It came to the scale, or would not.
    pub fn takes(&mut self, at: Instant, record: RecordId, came: bool) {
        if came {
            let row = u32::try_from(self.row.len()).unwrap_or(u32::MAX);
            self.until += row + 1;
            self.refused += row;
            self.row.clear();
        } else if self.row.len() < KEPT {
            self.row.push((at, record));
        }
    }

    /// People know of its refusals: they are no part of a row of new ones.
    pub fn settles(&mut self) {
        self.row.clear();
    }

    /// A row of refusals that is not its habit. The habit is its earlier share of refusals, begun at one in ten tries
    /// so that a short record does not make it perfect.
    #[must_use]
    pub fn refusal(&self) -> Option<Refusal> {
        let in_a_row = self.row.len();
        let usual = (f64::from(self.refused) + 1.0) / (f64::from(self.until) + 10.0);
        let chance = usual.powf(count(in_a_row));
        let (since, _) = self.row.first().filter(|_| in_a_row >= FEWEST && chance <= RARE)?;
        Some(Refusal {
            since: *since,
            in_a_row,
            usual_percent: 100.0 * usual,
            chance,
            records: self.row.iter().map(|(_, record)| *record).collect(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{TimeDelta, TimeZone, Utc};

    fn told(attempts: &str) -> Option<(usize, i64)> {
        let start = Utc.with_ymd_and_hms(2026, 1, 5, 8, 0, 0).unwrap();
        let mut all = Attempts::default();
        for (week, came) in (0_u8..).zip(attempts.chars()) {
            all.takes(start + TimeDelta::weeks(week.into()), RecordId(week.into()), came == '+');
        }
        all.refusal().map(|refusal| (refusal.in_a_row, (refusal.since - start).num_weeks()))
    }

    #[test]
    fn a_row_that_is_not_its_habit_is_told() {
        assert_eq!(told("++++++++++++++++++++---"), Some((3, 20)));
        assert_eq!(told("++++++++++++++++++++--"), None);
        assert_eq!(told("+-+-+--+-+-+--+-+-+-+---"), None, "it is its habit");
        assert_eq!(told("---"), None, "nothing is known of its habit: one in a thousand is no rarity");
        assert_eq!(told("++++++++++++++++++++---+"), None);
    }
}
