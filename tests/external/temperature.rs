//! Rules of law on ambient temperature, as runs of hours.
//!
//! Source: `temperature_limits.csv`. 9 CFR 3.91(d) (nonhuman primates, not below 45 °F or above 85 °F for
//! more than four consecutive hours) and 3.40 of 2008 (guinea pigs and hamsters, the same at any time)
//! were read; 3.76(a) is from memory; the ranges of the NRC Guide 2011 were read and are recommendations.

use crate::table::{self, Row};
use chrono::{TimeDelta, TimeZone, Utc};
use holt_audit::environment::limit::{Kept, Limit, Scale, Tolerance, check};
use holt_audit::environment::{Range, Reading};
use holt_audit::terms::Instant;

fn minute(n: i64) -> Instant {
    Utc.with_ymd_and_hms(2026, 1, 10, 0, 0, 0).unwrap() + TimeDelta::minutes(n)
}

fn limit(row: &Row<'_>) -> Limit {
    Limit {
        range: Range { low: Some(row.number("low_F")), high: Some(row.number("high_F")) },
        scale: Scale::Fahrenheit,
        tolerance: if row.text("duration_rule") == "more than 4 consecutive hours" {
            Tolerance::UpTo(TimeDelta::hours(4))
        } else {
            Tolerance::Never
        },
    }
}

fn rule(begins: &str) -> Limit {
    limit(&table::read("temperature_limits").rows().find(|row| row.text("rule").starts_with(begins)).unwrap())
}

/// Readings every quarter of an hour over a day; those of which `cold` says so are at `value`, the rest at
/// 18 °C.
fn day(limit: &Limit, value: f64, cold: impl Fn(i64) -> bool) -> Kept {
    let readings: Vec<Reading> = (0..96)
        .map(|n| Reading { at: minute(15 * n), value: if cold(15 * n) { value } else { 18.0 } })
        .collect();
    check(limit, &readings, Scale::Celsius, (minute(0), minute(1_440)), TimeDelta::minutes(20))
}

#[test]
fn four_hours_on_end_pass_and_one_reading_more_does_not() {
    let primates = rule("9 CFR 3.91(d)");
    assert_eq!(day(&primates, 5.0, |m| (60..=300).contains(&m)), Kept::Yes);
    let broken = day(&primates, 5.0, |m| (60..=315).contains(&m));
    assert!(matches!(broken, Kept::No { run } if run.from == minute(60) && run.until == Some(minute(315))));
}

#[test]
fn one_warm_reading_begins_the_count_anew() {
    let primates = rule("9 CFR 3.91(d)");
    assert_eq!(day(&primates, 5.0, |m| (60..=540).contains(&m) && m != 300), Kept::Yes);
}

#[test]
fn at_any_time_means_no_reading_at_all() {
    let rodents = rule("9 CFR 3.40");
    assert_eq!(day(&rodents, 18.0, |_| true), Kept::Yes);
    assert!(matches!(day(&rodents, 5.0, |m| m == 600), Kept::No { .. }));
}

#[test]
fn the_unit_of_the_rule_decides() {
    let rodents = rule("9 CFR 3.40");
    // 45 °F is 7.2222… °C: exactly on the limit is within it.
    let on_the_limit = Scale::Fahrenheit.to(Scale::Celsius, 45.0);
    assert_eq!(day(&rodents, on_the_limit, |_| true), Kept::Yes);
    assert!(matches!(day(&rodents, on_the_limit - 0.01, |_| true), Kept::No { .. }));
    // 29.5 °C, the printed conversion of 85 °F, is 85.1 °F and over the limit.
    assert!(matches!(day(&rodents, 29.5, |_| true), Kept::No { .. }));
    assert_eq!(day(&rodents, 29.4, |_| true), Kept::Yes);
}

#[test]
fn printed_conversions_are_near_the_limits_they_stand_for() {
    for row in table::read("temperature_limits").rows().filter(|row| !row.text("low_F").is_empty()) {
        for (fahrenheit, celsius) in [("low_F", "low_C_printed"), ("high_F", "high_C_printed")] {
            let converted = Scale::Fahrenheit.to(Scale::Celsius, row.number(fahrenheit));
            assert!((converted - row.number(celsius)).abs() < 0.6, "{} {converted}", row.text("rule"));
        }
    }
}

#[test]
fn a_log_with_a_gap_of_a_night_proves_nothing() {
    let primates = rule("9 CFR 3.91(d)");
    let readings: Vec<Reading> = (0..96)
        .filter(|n| !(8..40).contains(n))
        .map(|n| Reading { at: minute(15 * n), value: 18.0 })
        .collect();
    let told =
        check(&primates, &readings, Scale::Celsius, (minute(0), minute(1_440)), TimeDelta::minutes(20));
    assert!(
        matches!(told, Kept::Unproven { gaps } if gaps[0].from == minute(105) && gaps[0].until == Some(minute(600)))
    );
}
