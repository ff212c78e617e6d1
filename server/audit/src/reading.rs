//! One attempt to weigh an animal, and which of them may be used.

use crate::terms::{Instant, Mass, RecordId};
use chrono::TimeDelta;
use serde::{Deserialize, Serialize};

/// A scale. The number is the caller's: the same for the same scale within one call.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Scale(pub u32);

/// One attempt to weigh an animal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// The record it stands in.
    pub record: RecordId,
    /// When it was taken.
    pub at: Instant,
    /// What it weighed; none if it was tried and the animal would not come.
    pub mass: Option<Mass>,
    /// On which scale, if that was noted.
    pub scale: Option<Scale>,
    /// A second weighing was asked for when it was entered.
    pub doubtful: bool,
}

/// When a second reading confirms a doubtful one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Agreement {
    /// Days within which it must be taken, before or after: 3.
    pub days: u32,
    /// How far apart, in %, the two may be: 4 (two spreads of a healthy animal's readings).
    pub percent: f64,
}

impl Default for Agreement {
    fn default() -> Self {
        Self { days: 3, percent: 4.0 }
    }
}

impl Agreement {
    /// Whether a reading of `mass` at `at` and an earlier or later one confirm each other.
    #[must_use]
    pub fn agree(&self, other: &Reading, at: Instant, mass: Mass) -> bool {
        let near = (other.at - at).abs() <= TimeDelta::days(self.days.into());
        let apart = (self.percent / 100.0).ln_1p();
        near && weight(other).is_some_and(|other| (other.grams() / mass.grams()).ln().abs() <= apart)
    }

    /// The readings with a mass that may be used, of those given in order of time: what was not
    /// doubtful, and what was but another agrees with.
    pub(crate) fn usable<'a>(&self, readings: &'a [Reading]) -> impl Iterator<Item = (&'a Reading, Mass)> {
        let reach = TimeDelta::days(self.days.into());
        let apart = (self.percent / 100.0).ln_1p();
        let agrees = move |place: usize, mass: Mass| {
            let this = &readings[place];
            let from = readings[..place].partition_point(|other| other.at < this.at - reach);
            readings[from..]
                .iter()
                .take_while(|other| other.at <= this.at + reach)
                .filter(|other| other.record != this.record)
                .filter_map(weight)
                .any(|other| (other.grams() / mass.grams()).ln().abs() <= apart)
        };
        readings.iter().enumerate().filter_map(move |(place, reading)| {
            let mass = weight(reading)?;
            (!reading.doubtful || agrees(place, mass)).then_some((reading, mass))
        })
    }
}

/// The mass of a reading that has one above nothing.
fn weight(reading: &Reading) -> Option<Mass> {
    reading.mass.filter(|mass| mass.mg() > 0)
}
