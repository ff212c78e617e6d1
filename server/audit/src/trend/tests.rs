use super::*;
use crate::episode::Severity;
use crate::reading::Reading;
use crate::terms::{Instant, Mass, RecordId, Span};
use crate::zone;
use chrono::{TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use proptest::prelude::*;

fn at(week: i64) -> Instant {
    Utc.with_ymd_and_hms(2024, 1, 1, 8, 0, 0).unwrap() + TimeDelta::weeks(week)
}

fn reading(week: usize, grams: f64) -> Reading {
    Reading {
        record: RecordId(week as u128),
        at: at(week as i64),
        mass: Some(Mass::from_grams(grams)),
        scale: None,
        doubtful: false,
    }
}

/// A kilogram, give or take a per cent, times what `factor` makes of the week.
fn series(weeks: usize, factor: impl Fn(usize) -> f64) -> Vec<Reading> {
    let wobble = |week: usize| 1.0 + 0.01 * ((week * 5 % 7) as f64 / 3.0 - 1.0);
    (0..weeks).map(|week| reading(week, 1000.0 * wobble(week) * factor(week))).collect()
}

fn seen(subject: &Subject<'_>) -> Trend {
    let last = subject.readings.iter().map(|reading| reading.at).max().unwrap();
    watch(subject, last, &Settings::default())
}

fn seen_alone(readings: &[Reading]) -> Trend {
    seen(&Subject::new(readings, Tz::UTC))
}

fn loss_of(trend: &Trend) -> Option<(&Finding, Loss)> {
    trend.findings.iter().find_map(|finding| match finding.evidence {
        Evidence::Loss(loss) => Some((finding, loss)),
        _ => None,
    })
}

#[test]
fn a_steady_animal_raises_nothing() {
    let readings = series(120, |_| 1.0);
    for week in 0..120 {
        let trend = watch(&Subject::new(&readings, Tz::UTC), at(week), &Settings::default());
        assert_eq!(trend.findings, [], "week {week}");
    }
}

#[test]
fn a_slow_loss_is_raised_with_its_beginning_and_its_records() {
    let readings = series(90, |week| 1.0 - 0.01 * week.saturating_sub(77) as f64);
    let trend = seen_alone(&readings);
    let (finding, loss) = loss_of(&trend).unwrap();
    assert_eq!(finding.severity, Severity::Watch);
    assert!(!loss.sharp && loss.strength > 1.0);
    assert!((-13.0..-10.0).contains(&loss.change_percent), "{loss:?}");
    let began = zone::day_of(Tz::UTC, at(78));
    assert!((finding.since - began).num_days().abs() <= 14, "{}", finding.since);
    assert_eq!(finding.records.last(), Some(&RecordId(89)));
    assert_eq!(finding.records.len(), loss.weeks);
    let slope = trend.slope.unwrap();
    assert!(slope.low < -1.0 && slope.high > -1.0 && slope.high < -0.4, "{slope:?}");
}

#[test]
fn more_lost_is_more_urgent() {
    let severity = |percent: f64| {
        let readings = series(80, |week| if week < 70 { 1.0 } else { 1.0 - percent / 100.0 });
        loss_of(&seen_alone(&readings)).map(|(finding, _)| finding.severity)
    };
    assert_eq!(severity(1.0), None);
    assert_eq!(severity(6.0), Some(Severity::Watch));
    assert_eq!(severity(12.0), Some(Severity::Act));
    assert_eq!(severity(25.0), Some(Severity::Urgent));
}

#[test]
fn a_sharp_fall_is_raised_at_once() {
    let readings = series(60, |week| if week < 59 { 1.0 } else { 0.86 });
    let trend = seen_alone(&readings);
    let (finding, loss) = loss_of(&trend).unwrap();
    assert!(loss.sharp);
    assert_eq!((finding.severity, finding.records.as_slice()), (Severity::Act, [RecordId(59)].as_slice()));
}

#[test]
fn a_doubtful_reading_counts_only_if_another_agrees() {
    let mut readings = series(60, |week| if week < 59 { 1.0 } else { 0.86 });
    readings[59].doubtful = true;
    let trend = seen_alone(&readings);
    assert!(trend.findings.is_empty());
    assert_eq!((trend.readings, trend.used, trend.latest.unwrap().record), (60, 59, RecordId(58)));
    assert_eq!(trend.days_since_mass, Some(0));

    let again = Reading { record: RecordId(60), at: readings[59].at + TimeDelta::days(1), ..readings[59] };
    readings.push(again);
    let trend = seen_alone(&readings);
    assert_eq!((trend.used, loss_of(&trend).map(|(_, loss)| loss.sharp)), (61, Some(true)));
}

#[test]
fn an_animal_that_recovers_is_left_alone_again() {
    let readings = series(110, |week| if (70..80).contains(&week) { 0.92 } else { 1.0 });
    let raised = |week| {
        let trend = watch(&Subject::new(&readings, Tz::UTC), at(week), &Settings::default());
        loss_of(&trend).is_some()
    };
    assert!(raised(79) && !raised(90) && !raised(109));
}

#[test]
fn an_episode_keeps_its_first_day() {
    let readings = series(100, |week| 1.0 - 0.01 * week.saturating_sub(70).min(15) as f64);
    let since = |week| {
        let trend = watch(&Subject::new(&readings, Tz::UTC), at(week), &Settings::default());
        loss_of(&trend).map(|(finding, _)| finding.since)
    };
    let first = since(80);
    assert!(first.is_some());
    assert!((80..100).all(|week| since(week) == first));
}

#[test]
fn giving_birth_is_no_loss() {
    let carrying = |week: usize| if (60..72).contains(&week) { 1.0 + 0.02 * (week - 60) as f64 } else { 1.0 };
    let readings = series(90, carrying);
    let span = [Span { from: zone::day_of(Tz::UTC, at(60)), until: Some(zone::day_of(Tz::UTC, at(72))) }];
    let subject = Subject { gravid: &span, ..Subject::new(&readings, Tz::UTC) };
    for week in 60..90 {
        let trend = watch(&subject, at(week), &Settings::default());
        assert!(trend.findings.is_empty(), "week {week}: {:?}", trend.findings);
    }
}

#[test]
fn losing_while_carrying_is_seen_though_she_is_above_her_own_weight() {
    let carrying = |week: usize| match week {
        60..68 => 1.0 + 0.025 * (week - 60) as f64,
        68.. => 1.175 - 0.025 * (week - 67) as f64,
        _ => 1.0,
    };
    let readings = series(75, carrying);
    let span = [Span { from: zone::day_of(Tz::UTC, at(60)), until: None }];
    let subject = Subject { gravid: &span, ..Subject::new(&readings, Tz::UTC) };
    assert!(loss_of(&seen(&subject)).is_some());
}

#[test]
fn its_own_autumns_are_no_loss() {
    let yearly = |week: usize| 1.0 + 0.1 * (week as f64 * 7.0 / 365.25 * std::f64::consts::TAU).sin();
    let readings = series(52 * 5, yearly);
    let told = |week| watch(&Subject::new(&readings, Tz::UTC), at(week), &Settings::default());
    for week in 105..260 {
        assert!(told(week).findings.is_empty(), "week {week}: {:?}", told(week).findings);
    }
}

/// Nearly two years later it weighs what it has weighed for long, and that is still a tenth too little.
#[test]
fn a_loss_that_lasts_stays_one_until_it_is_made_up() {
    let lasting = seen_alone(&series(160, |week| if week < 60 { 1.0 } else { 0.9 }));
    let (_, loss) = loss_of(&lasting).unwrap();
    assert!((loss.change_percent + 10.0).abs() < 1.0 && (loss.level_percent + 10.0).abs() < 1.0, "{loss:?}");
    assert!(loss.expected > loss.latest);
    let baseline = lasting.baseline.unwrap();
    assert!(baseline.to < zone::day_of(Tz::UTC, at(62)) && baseline.mass > loss.latest, "{baseline:?}");
    let made_up = seen_alone(&series(170, |week| if (60..150).contains(&week) { 0.9 } else { 1.0 }));
    assert!(made_up.findings.is_empty(), "{:?}", made_up.findings);
}

#[test]
fn a_new_normal_ends_the_matter() {
    let readings = series(100, |week| if week < 70 { 1.0 } else { 0.9 });
    assert!(loss_of(&seen_alone(&readings)).is_some());
    let settled = Some(zone::day_of(Tz::UTC, at(75)));
    assert!(seen(&Subject { settled, ..Subject::new(&readings, Tz::UTC) }).findings.is_empty());
}

#[test]
fn three_readings_are_needed() {
    let told = seen_alone(&series(2, |week| if week == 0 { 1.0 } else { 0.5 }));
    assert!(told.too_few && told.findings.is_empty());
    assert!(seen_alone(&series(1, |_| 1.0)).too_few);
}

#[test]
fn refusing_is_a_finding_for_an_animal_that_comes() {
    let mut readings = series(40, |_| 1.0);
    for reading in &mut readings[36..] {
        reading.mass = None;
    }
    let trend = seen_alone(&readings);
    assert_eq!((trend.tried_in_a_row, trend.days_since_mass), (4, Some(28)));
    let [Finding { severity: Severity::Watch, since, evidence: Evidence::Refusal(refusal), records }] =
        trend.findings.as_slice()
    else {
        panic!("{:?}", trend.findings)
    };
    assert_eq!(*since, zone::day_of(Tz::UTC, at(36)));
    assert_eq!(records.len(), 4);
    assert!(refusal.chance < 0.001);

    for reading in readings.iter_mut().step_by(2) {
        reading.mass = None;
    }
    assert!(seen_alone(&readings).findings.is_empty(), "it often refuses");
}

proptest! {
    #[test]
    fn the_order_of_readings_does_not_matter(seed in 0usize..1000, weeks in 4usize..80) {
        let readings = series(weeks, |week| 1.0 - 0.004 * (week * seed % 11) as f64);
        let mut mixed = readings.clone();
        mixed.sort_by_key(|reading| reading.record.0.wrapping_mul(seed as u128 * 2 + 1) % 97);
        prop_assert_eq!(seen_alone(&readings), seen_alone(&mixed));
    }

    #[test]
    fn what_comes_later_does_not_change_what_was_seen(weeks in 4i64..80) {
        let readings = series(90, |week| 1.0 - 0.01 * week.saturating_sub(60) as f64);
        let until = &readings[..=usize::try_from(weeks).unwrap()];
        prop_assert_eq!(
            watch(&Subject::new(&readings, Tz::UTC), at(weeks), &Settings::default()),
            seen_alone(until)
        );
    }

    #[test]
    fn grams_or_tonnes_are_seen_alike(scale in 0.01..1000.0f64) {
        let loss = |scale: f64| series(90, |week| scale * (1.0 - 0.01 * week.saturating_sub(77) as f64));
        let (small, large) = (seen_alone(&loss(1.0)), seen_alone(&loss(scale)));
        prop_assert_eq!(small.findings.len(), large.findings.len());
        prop_assert!((small.change_percent.unwrap() - large.change_percent.unwrap()).abs() < 0.1);
    }
}
