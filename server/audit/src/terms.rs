//! The plain words that all computations share.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use std::ops::{Add, AddAssign, Sub, SubAssign};
use std::str::FromStr;

/// A calendar day of some site's time zone. Which site is known from where the value stands.
pub type Day = NaiveDate;

/// A moment, in UTC.
pub type Instant = DateTime<Utc>;

/// Sex as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sex {
    /// Determined male.
    Male,
    /// Determined female.
    Female,
    /// Not determined (yet).
    Unknown,
}

/// Animals counted by sex, written `males.females.unknown` (`3.4.2`) as the trade does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Counts {
    /// Males.
    pub males: i64,
    /// Females.
    pub females: i64,
    /// Animals of undetermined sex.
    pub unknown: i64,
}

impl Counts {
    /// No animal at all.
    pub const ZERO: Self = Self { males: 0, females: 0, unknown: 0 };

    /// `n` animals of one sex.
    #[must_use]
    pub const fn of(sex: Sex, n: i64) -> Self {
        match sex {
            Sex::Male => Self { males: n, females: 0, unknown: 0 },
            Sex::Female => Self { males: 0, females: n, unknown: 0 },
            Sex::Unknown => Self { males: 0, females: 0, unknown: n },
        }
    }

    /// All animals, whatever their sex.
    #[must_use]
    pub const fn total(self) -> i64 {
        self.males + self.females + self.unknown
    }
}

impl Add for Counts {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            males: self.males + other.males,
            females: self.females + other.females,
            unknown: self.unknown + other.unknown,
        }
    }
}

impl Sub for Counts {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self {
            males: self.males - other.males,
            females: self.females - other.females,
            unknown: self.unknown - other.unknown,
        }
    }
}

impl AddAssign for Counts {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for Counts {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl std::iter::Sum for Counts {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, Add::add)
    }
}

impl fmt::Display for Counts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}.{}", self.males, self.females, self.unknown)
    }
}

/// A mass in whole milligrams. Integer, so that sums and comparisons are exact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Mass(i64);

impl Mass {
    /// From whole milligrams.
    #[must_use]
    pub const fn from_mg(mg: i64) -> Self {
        Self(mg)
    }

    /// From grams, to the nearest milligram.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "rounded on purpose; beyond the range it saturates")]
    pub fn from_grams(grams: f64) -> Self {
        Self((grams * 1_000.0).round() as i64)
    }

    /// Whole milligrams.
    #[must_use]
    pub const fn mg(self) -> i64 {
        self.0
    }

    /// Grams, for computation.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "an animal's mass in mg is below 2^53")]
    pub fn grams(self) -> f64 {
        self.0 as f64 / 1_000.0
    }

    /// Kilograms, for computation.
    #[must_use]
    pub fn kg(self) -> f64 {
        self.grams() / 1_000.0
    }
}

/// A half-open stretch of time `[from, until)`; no `until` means that it still runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Interval {
    /// First instant inside.
    pub from: Instant,
    /// First instant after it, if it has ended.
    pub until: Option<Instant>,
}

impl Interval {
    /// Whether `at` lies inside.
    #[must_use]
    pub fn contains(&self, at: Instant) -> bool {
        self.from <= at && self.until.is_none_or(|until| at < until)
    }

    /// Whether both share at least one instant.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        self.until.is_none_or(|until| other.from < until) && other.until.is_none_or(|until| self.from < until)
    }
}

/// A half-open stretch of days `[from, until)`; no `until` means that it still runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Span {
    /// First day inside.
    pub from: Day,
    /// First day after it, if it has ended.
    pub until: Option<Day>,
}

impl Span {
    /// Whether `day` lies inside.
    #[must_use]
    pub fn contains(&self, day: Day) -> bool {
        self.from <= day && self.until.is_none_or(|until| day < until)
    }
}

/// The id of a record that stands as evidence: a UUID, written with hyphens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct RecordId(pub u128);

impl fmt::Display for RecordId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let id = self.0;
        write!(
            f,
            "{:08x}-{:04x}-{:04x}-{:04x}-{:012x}",
            id >> 96,
            (id >> 80) & 0xffff,
            (id >> 64) & 0xffff,
            (id >> 48) & 0xffff,
            id & 0xffff_ffff_ffff
        )
    }
}

/// Text that is not a UUID with hyphens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("not a UUID of the form xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx")]
pub struct NotARecordId;

impl FromStr for RecordId {
    type Err = NotARecordId;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let digits: String = text.split('-').collect();
        let id = Self(u128::from_str_radix(&digits, 16).map_err(|_| NotARecordId)?);
        if text.eq_ignore_ascii_case(&id.to_string()) { Ok(id) } else { Err(NotARecordId) }
    }
}

impl Serialize for RecordId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for RecordId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// The five domains of welfare (Mellor et al. 2020, Animals 10:1870). The first four are observed;
/// the fifth, mental state, is inferred from them and never entered like one of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Domain {
    /// Nutrition: water and food.
    Nutrition,
    /// Physical environment.
    Environment,
    /// Health: injury, disease, fitness.
    Health,
    /// Behavioural interactions with the environment, other animals and people.
    Behaviour,
    /// Mental state, inferred from the other four.
    Mental,
}

impl Domain {
    /// The four domains that are observed.
    pub const OBSERVED: [Self; 4] = [Self::Nutrition, Self::Environment, Self::Health, Self::Behaviour];
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeZone;

    fn at(hour: u32) -> Instant {
        Utc.with_ymd_and_hms(2026, 3, 1, hour, 0, 0).unwrap()
    }

    #[test]
    fn counts_print_as_the_trade_writes_them() {
        let counts = Counts { males: 3, females: 4, unknown: 2 };
        assert_eq!(counts.to_string(), "3.4.2");
        assert_eq!(counts.total(), 9);
        assert_eq!((counts - Counts::of(Sex::Male, 1) + Counts::of(Sex::Unknown, 1)).to_string(), "2.4.3");
    }

    #[test]
    fn record_ids_read_back_as_they_are_written() {
        let id = RecordId(0x0195_d3a2_7c1e_7b44_9a0f_5b1c_2d3e_4f50);
        assert_eq!(id.to_string(), "0195d3a2-7c1e-7b44-9a0f-5b1c2d3e4f50");
        assert_eq!(id.to_string().parse(), Ok(id));
        for wrong in ["", "0195d3a27c1e7b449a0f5b1c2d3e4f50", "+195d3a2-7c1e-7b44-9a0f-5b1c2d3e4f50"] {
            assert_eq!(wrong.parse::<RecordId>(), Err(NotARecordId), "{wrong}");
        }
    }

    #[test]
    fn intervals_are_half_open() {
        let morning = Interval { from: at(6), until: Some(at(12)) };
        let afternoon = Interval { from: at(12), until: None };
        assert!(morning.contains(at(6)) && !morning.contains(at(12)) && afternoon.contains(at(12)));
        assert!(!morning.overlaps(&afternoon) && !afternoon.overlaps(&morning));
        assert!(morning.overlaps(&Interval { from: at(11), until: Some(at(13)) }));
    }
}
