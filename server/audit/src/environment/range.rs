//! What must be kept, by hour of the day and time of the year, in the time of the site.

use crate::terms::Instant;
use chrono::{Datelike, NaiveTime};
use chrono_tz::Tz;

/// Values that are within bounds, ends included.
#[derive(Clone, Copy, Debug, Default, PartialEq, serde::Serialize)]
pub struct Range {
    /// Lowest value allowed.
    pub low: Option<f64>,
    /// Highest value allowed.
    pub high: Option<f64>,
}

impl Range {
    /// How far `value` lies outside: below zero under the low end, above zero over the high one, zero
    /// inside.
    #[must_use]
    pub fn beyond(&self, value: f64) -> f64 {
        match (self.low, self.high) {
            (Some(low), _) if value < low => value - low,
            (_, Some(high)) if value > high => value - high,
            _ => 0.0,
        }
    }

    /// The range with each end drawn in by `margin`.
    #[must_use]
    pub fn drawn_in(&self, margin: f64) -> Self {
        Self { low: self.low.map(|low| low + margin), high: self.high.map(|high| high - margin) }
    }
}

/// A range that holds at some times of the day and of the year.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// First and last day of the year, as (month, day), both included; may pass over the new year. `None`
    /// for all year.
    pub season: Option<((u32, u32), (u32, u32))>,
    /// From and until when, the end not included; may pass over midnight. `None` for all day.
    pub hours: Option<(NaiveTime, NaiveTime)>,
    /// What must be kept then.
    pub range: Range,
}

/// What must be kept in an enclosure.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Zone whose clock and calendar the rules go by.
    pub zone: Tz,
    /// The first that applies holds; where none does, nothing need be kept.
    pub rules: Vec<Rule>,
}

impl Plan {
    /// What must be kept at an instant.
    #[must_use]
    pub fn at(&self, at: Instant) -> Range {
        let local = at.with_timezone(&self.zone);
        let (today, now) = ((local.month(), local.day()), local.time());
        let holds = |rule: &&Rule| {
            rule.season.is_none_or(|(first, last)| {
                if first <= last { first <= today && today <= last } else { first <= today || today <= last }
            }) && rule.hours.is_none_or(|(from, until)| {
                if from <= until { from <= now && now < until } else { from <= now || now < until }
            })
        };
        self.rules.iter().find(holds).map_or_else(Range::default, |rule| rule.range)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{NaiveDate, TimeZone};
    use chrono_tz::Europe::Berlin;

    fn clock(hour: u32) -> NaiveTime {
        NaiveTime::from_hms_opt(hour, 0, 0).unwrap()
    }

    fn range(low: f64, high: f64) -> Range {
        Range { low: Some(low), high: Some(high) }
    }

    fn local(month: u32, day: u32, hour: u32) -> Instant {
        let wall = NaiveDate::from_ymd_opt(2026, month, day).unwrap().and_hms_opt(hour, 0, 0).unwrap();
        Berlin.from_local_datetime(&wall).unwrap().to_utc()
    }

    #[test]
    fn nights_and_winters_pass_over_midnight_and_new_year() {
        let night = Some((clock(20), clock(6)));
        let winter = Some(((11, 1), (2, 28)));
        let plan = Plan {
            zone: Berlin,
            rules: vec![
                Rule { season: winter, hours: night, range: range(12.0, 18.0) },
                Rule { season: winter, hours: None, range: range(15.0, 22.0) },
                Rule { season: None, hours: night, range: range(16.0, 24.0) },
                Rule { season: None, hours: None, range: range(18.0, 28.0) },
            ],
        };
        for (at, low) in [
            (local(1, 15, 5), 12.0),
            (local(1, 15, 6), 15.0),
            (local(11, 1, 20), 12.0),
            (local(10, 31, 20), 16.0),
            (local(2, 28, 12), 15.0),
            (local(3, 1, 12), 18.0),
            (local(7, 1, 23), 16.0),
            (local(7, 1, 19), 18.0),
        ] {
            assert_eq!(plan.at(at).low, Some(low), "{at}");
        }
    }

    #[test]
    fn where_no_rule_applies_nothing_need_be_kept() {
        let plan = Plan { zone: Berlin, rules: Vec::new() };
        assert!(plan.at(local(1, 1, 1)).beyond(-300.0).abs() < 1e-12);
    }

    #[test]
    fn ends_are_inside() {
        let kept = range(15.0, 22.0);
        assert!(kept.beyond(15.0).abs() < 1e-12 && kept.beyond(22.0).abs() < 1e-12);
        assert!((kept.beyond(14.5) + 0.5).abs() < 1e-12 && (kept.beyond(24.0) - 2.0).abs() < 1e-12);
    }
}
