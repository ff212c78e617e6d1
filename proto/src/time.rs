//! Wire time ↔ chrono, each way checked once and here.

use crate::v1::Day;
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use prost_types::Timestamp;

/// Why a time on the wire is no time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    /// Seconds or nanoseconds out of range.
    #[error("is not an instant between the years 1 and 9999")]
    Instant,
    /// Month or day that no calendar has.
    #[error("is not a day of the calendar")]
    Day,
    /// A part of a day where a whole one is needed.
    #[error("must be a whole day: year, month and day")]
    PartOfDay,
}

/// An instant from the wire, cut to whole microseconds: PostgreSQL keeps no more, and what is hashed
/// must be what is kept.
///
/// # Errors
/// [`TimeError::Instant`] outside the years 1 to 9999, or with nanoseconds outside a second.
pub fn instant(wire: Timestamp) -> Result<DateTime<Utc>, TimeError> {
    let nanos = u32::try_from(wire.nanos).map_err(|_| TimeError::Instant)?;
    if nanos >= 1_000_000_000 {
        return Err(TimeError::Instant);
    }
    let instant = DateTime::from_timestamp(wire.seconds, nanos / 1_000 * 1_000).ok_or(TimeError::Instant)?;
    if (1..=9999).contains(&instant.year()) { Ok(instant) } else { Err(TimeError::Instant) }
}

/// An instant to the wire.
#[must_use]
pub fn timestamp(instant: DateTime<Utc>) -> Timestamp {
    Timestamp {
        seconds: instant.timestamp(),
        // Below a second by construction; a leap second's excess is cut.
        nanos: i32::try_from(instant.timestamp_subsec_nanos().min(999_999_999)).unwrap_or(0),
    }
}

/// A whole day from the wire.
///
/// # Errors
/// [`TimeError::PartOfDay`] where month or day is 0, [`TimeError::Day`] where there is no such day.
pub fn whole_day(wire: Day) -> Result<NaiveDate, TimeError> {
    if wire.month == 0 || wire.day == 0 {
        return Err(TimeError::PartOfDay);
    }
    let (month, day) = (part(wire.month)?, part(wire.day)?);
    if !(1..=9999).contains(&wire.year) {
        return Err(TimeError::Day);
    }
    NaiveDate::from_ymd_opt(wire.year, month, day).ok_or(TimeError::Day)
}

/// First and last day that a day, month or year on the wire can mean.
///
/// # Errors
/// [`TimeError::Day`] where there is no such day, month or year.
pub fn day_bounds(wire: Day) -> Result<(NaiveDate, NaiveDate), TimeError> {
    let first = match (wire.month, wire.day) {
        (0, 0) => whole_day(Day { year: wire.year, month: 1, day: 1 })?,
        (_, 0) => whole_day(Day { day: 1, ..wire })?,
        (0, _) => return Err(TimeError::Day),
        _ => return whole_day(wire).map(|day| (day, day)),
    };
    let next = if wire.month == 0 || first.month() == 12 {
        NaiveDate::from_ymd_opt(first.year() + 1, 1, 1)
    } else {
        NaiveDate::from_ymd_opt(first.year(), first.month() + 1, 1)
    };
    let last = next.and_then(|next| next.pred_opt()).ok_or(TimeError::Day)?;
    Ok((first, last))
}

/// A whole day to the wire.
#[must_use]
pub fn day(day: NaiveDate) -> Day {
    // Months and days fit by construction.
    let small = |n: u32| i32::try_from(n).unwrap_or(0);
    Day { year: day.year(), month: small(day.month()), day: small(day.day()) }
}

fn part(n: i32) -> Result<u32, TimeError> {
    u32::try_from(n).map_err(|_| TimeError::Day)
}

impl std::fmt::Display for Day {
    /// ISO 8601, as far as it is known: `2019`, `2019-05`, `2019-05-17`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match (self.month, self.day) {
            (0, _) => write!(f, "{:04}", self.year),
            (month, 0) => write!(f, "{:04}-{month:02}", self.year),
            (month, day) => write!(f, "{:04}-{month:02}-{day:02}", self.year),
        }
    }
}

impl std::str::FromStr for Day {
    type Err = TimeError;

    /// ISO 8601, as far as it is known: `2019`, `2019-05`, `2019-05-17`.
    fn from_str(text: &str) -> Result<Self, TimeError> {
        let mut parts = text.trim().split('-');
        let mut next = |width: usize| -> Result<i32, TimeError> {
            match parts.next() {
                None => Ok(0),
                Some(part) if part.len() == width && part.bytes().all(|b| b.is_ascii_digit()) => {
                    match part.parse() {
                        Ok(0) | Err(_) => Err(TimeError::Day),
                        Ok(n) => Ok(n),
                    }
                }
                Some(_) => Err(TimeError::Day),
            }
        };
        let wire = Self { year: next(4)?, month: next(2)?, day: next(2)? };
        if parts.next().is_some() {
            return Err(TimeError::Day);
        }
        day_bounds(wire).map(|_| wire)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ymd(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn instants_are_cut_to_microseconds() {
        let kept = instant(Timestamp { seconds: 1, nanos: 123_456_789 }).unwrap();
        assert_eq!(kept.timestamp_subsec_nanos(), 123_456_000);
        for wire in [
            Timestamp { seconds: 0, nanos: -1 },
            Timestamp { seconds: 0, nanos: 1_000_000_000 },
            Timestamp { seconds: i64::MAX, nanos: 0 },
            Timestamp { seconds: 253_402_300_800, nanos: 0 },
        ] {
            assert_eq!(instant(wire), Err(TimeError::Instant), "{wire:?}");
        }
    }

    #[test]
    fn a_part_of_a_day_keeps_its_precision() {
        for (text, first, last) in [
            ("2019", ymd(2019, 1, 1), ymd(2019, 12, 31)),
            ("2020-02", ymd(2020, 2, 1), ymd(2020, 2, 29)),
            ("2019-12", ymd(2019, 12, 1), ymd(2019, 12, 31)),
            ("2019-05-17", ymd(2019, 5, 17), ymd(2019, 5, 17)),
        ] {
            let wire: Day = text.parse().unwrap();
            assert_eq!(day_bounds(wire), Ok((first, last)), "{text}");
            assert_eq!(wire.to_string(), text);
        }
    }

    #[test]
    fn days_that_no_calendar_has_are_refused() {
        for text in ["2019-02-29", "2019-13", "19-05-17", "2019-5-17", "2019-05-17-1", "", "2019-00-01", "x"]
        {
            assert!(text.parse::<Day>().is_err(), "{text}");
        }
        assert_eq!(whole_day(Day { year: 2019, month: 5, day: 0 }), Err(TimeError::PartOfDay));
        assert_eq!(day_bounds(Day { year: 2019, month: 0, day: 3 }), Err(TimeError::Day));
    }

    proptest! {
        #[test]
        fn whole_days_go_there_and_back(n in -719_162_i32..2_932_896) {
            let there = NaiveDate::from_epoch_days(n).unwrap();
            prop_assert_eq!(whole_day(day(there)), Ok(there));
            prop_assert_eq!(day(there).to_string().parse(), Ok(day(there)));
        }

        #[test]
        fn instants_go_there_and_back(micros in -62_135_596_800_000_000_i64..253_402_300_800_000_000) {
            let there = DateTime::from_timestamp_micros(micros).unwrap();
            prop_assert_eq!(instant(timestamp(there)), Ok(there));
        }
    }
}
