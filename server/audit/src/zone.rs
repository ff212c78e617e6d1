//! Days of a site's time zone and the instants they are made of.
//!
//! The days of a zone follow one another without gap or overlap: each runs from its
//! [`start_of_day`] to that of the next, so every instant has exactly one day. Three rules make that
//! hold when clocks change:
//! - midnight that happens twice: the day starts at the first of the two;
//! - midnight that is skipped (clocks go forward over it): the day starts at the first instant after
//!   the skip;
//! - a day that is skipped whole (a zone crossing the date line): it is empty, and starts where the
//!   next one does.

use crate::terms::{Day, Instant};
use chrono::{Days, MappedLocalTime, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

/// First instant of `day` in `zone`.
#[must_use]
pub fn start_of_day(zone: Tz, day: Day) -> Instant {
    let midnight = day.and_time(NaiveTime::MIN);
    match zone.from_local_datetime(&midnight) {
        MappedLocalTime::Single(start) | MappedLocalTime::Ambiguous(start, _) => start.with_timezone(&Utc),
        MappedLocalTime::None => after_skip(zone, day),
    }
}

/// The day of `zone` that `at` belongs to.
#[must_use]
pub fn day_of(zone: Tz, at: Instant) -> Day {
    let wall = at.with_timezone(&zone).date_naive();
    // Clocks put back across midnight show the day before once more; the new day has begun all the same.
    match wall.checked_add_days(Days::new(1)) {
        Some(next) if start_of_day(zone, next) <= at => next,
        _ => wall,
    }
}

/// Seeks the second at which the wall date reaches `day`, which it does by a jump.
fn after_skip(zone: Tz, day: Day) -> Instant {
    let midnight = day.and_time(NaiveTime::MIN).and_utc();
    let reached =
        |seconds: i64| (midnight + TimeDelta::seconds(seconds)).with_timezone(&zone).date_naive() >= day;
    // No offset from UTC is a day and a half.
    let (mut before, mut after) = (-36 * 3600, 36 * 3600);
    while after - before > 1 {
        let middle = i64::midpoint(before, after);
        if reached(middle) {
            after = middle;
        } else {
            before = middle;
        }
    }
    midnight + TimeDelta::seconds(after)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn start(zone: Tz, text: &str) -> String {
        start_of_day(zone, day(text)).format("%Y-%m-%dT%H:%M:%SZ").to_string()
    }

    /// Clock changes as the IANA time zone database records them.
    #[test]
    fn clock_changes() {
        assert_eq!(start(Tz::Europe__Berlin, "2026-03-29"), "2026-03-28T23:00:00Z");
        assert_eq!(start(Tz::Europe__Berlin, "2026-03-30"), "2026-03-29T22:00:00Z");
        // 00:00 did not happen: clocks went from 23:59:59 to 01:00.
        assert_eq!(start(Tz::America__Sao_Paulo, "2018-11-04"), "2018-11-04T03:00:00Z");
        // Midnight happened twice: 01:00 went back to 00:00.
        assert_eq!(start(Tz::Atlantic__Azores, "2026-10-25"), "2026-10-25T00:00:00Z");
        // 30 December 2011 did not happen.
        assert_eq!(start(Tz::Pacific__Apia, "2011-12-30"), "2011-12-30T10:00:00Z");
        assert_eq!(start(Tz::Pacific__Apia, "2011-12-31"), "2011-12-30T10:00:00Z");
    }

    /// In St John's clocks went from 00:01 back to 23:01 of the day before, until 2011.
    #[test]
    fn a_day_once_begun_does_not_end_again() {
        let zone = Tz::America__St_Johns;
        let begun = start_of_day(zone, day("2010-11-07"));
        for minute in 0..180 {
            assert_eq!(day_of(zone, begun + TimeDelta::minutes(minute)), day("2010-11-07"), "{minute}");
        }
    }

    proptest! {
        #[test]
        fn days_partition_time(
            zone in proptest::sample::select(&chrono_tz::TZ_VARIANTS[..]),
            hours in 0i64..300_000, seconds in 0i64..3600,
        ) {
            let at = Utc.with_ymd_and_hms(1995, 1, 1, 0, 0, 0).unwrap() + TimeDelta::seconds(hours * 3600 + seconds);
            let today = day_of(zone, at);
            prop_assert!(start_of_day(zone, today) <= at);
            prop_assert!(at < start_of_day(zone, today + Days::new(1)));
        }
    }
}
