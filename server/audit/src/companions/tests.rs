use super::*;
use crate::chance::Chance;
use crate::reading::Reading;
use crate::stats::normal;
use crate::terms::{Instant, Mass, RecordId};
use crate::trend::{self, Evidence, Finding, Settings, Subject};
use chrono::{TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

fn at(week: usize) -> Instant {
    Utc.with_ymd_and_hms(2025, 1, 6, 8, 0, 0).unwrap() + TimeDelta::weeks(i64::try_from(week).unwrap())
}

/// A group weighed weekly, give or take 1 % of each and 2 % of the morning, times what `factor` makes
/// of animal and week.
fn herd(animals: usize, weeks: usize, factor: impl Fn(usize, usize) -> f64) -> Vec<Vec<Reading>> {
    let mut chance = Chance::seeded(3);
    let mut normal = |sd: f64| sd * normal::quantile(chance.unit().max(1e-12));
    let mornings: Vec<f64> = (0..weeks).map(|_| normal(0.02)).collect();
    (0..animals)
        .map(|animal| {
            let mass = 700.0 + 60.0 * animal as f64;
            let reading = |week: usize, noise: f64| Reading {
                record: RecordId((animal * 1000 + week) as u128),
                at: at(week),
                mass: Some(Mass::from_grams(mass * factor(animal, week) * (noise + mornings[week]).exp())),
                scale: None,
                doubtful: false,
            };
            (0..weeks).map(|week| reading(week, normal(0.01))).collect()
        })
        .collect()
}

fn told(herd: &[Vec<Reading>], week: usize) -> Watched {
    let members: Vec<Subject<'_>> = herd.iter().map(|readings| Subject::new(readings, Tz::UTC)).collect();
    watch(&members, at(week), &Settings::default())
}

fn losing(rate: f64) -> impl Fn(usize, usize) -> f64 {
    move |animal, week| if animal == 2 { 1.0 - rate * week.saturating_sub(40) as f64 } else { 1.0 }
}

fn loss(trend: &trend::Trend) -> Option<(&Finding, trend::Loss)> {
    trend.findings.iter().find_map(|finding| match finding.evidence {
        Evidence::Loss(loss) => Some((finding, loss)),
        Evidence::Refusal(_) => None,
    })
}

#[test]
fn one_that_loses_while_the_others_hold_is_seen_sooner_than_by_itself() {
    let herd = herd(9, 60, losing(0.015));
    let alone = (41..60)
        .find(|week| {
            let subject = Subject::new(&herd[2], Tz::UTC);
            !trend::watch(&subject, at(*week), &Settings::default()).findings.is_empty()
        })
        .unwrap();
    let together = (41..60).find(|week| loss(&told(&herd, *week).each[2]).is_some()).unwrap();
    assert!(together < alone, "beside its companions in week {together}, alone in week {alone}");

    let trend = told(&herd, together).each.swap_remove(2);
    let (finding, evidence) = loss(&trend).unwrap();
    assert!((finding.since - at(41).date_naive()).num_days().abs() <= 14);
    assert_eq!(finding.records.last(), Some(&RecordId(2000 + together as u128)));
    assert_eq!(evidence.beside, trend.beside);
    let beside = told(&herd, 48).each[2].beside.unwrap();
    assert!(beside.apart && beside.z < -3.0 && (beside.slope_percent + 1.5).abs() < 0.7, "{beside:?}");
    assert_eq!(beside.companions, 8);
}

#[test]
fn the_others_are_left_alone() {
    let herd = herd(9, 60, losing(0.015));
    for week in 5..60 {
        let told = told(&herd, week);
        for (animal, trend) in told.each.iter().enumerate().filter(|(animal, _)| *animal != 2) {
            assert_eq!(trend.findings, [], "animal {animal} in week {week}");
        }
        assert_eq!(told.whole, None, "week {week}");
    }
}

#[test]
fn one_that_stays_while_the_others_grow_falls_behind() {
    let herd = herd(
        9,
        60,
        |animal, week| {
            if animal == 2 { 1.0 } else { 1.0 + 0.012 * week.saturating_sub(40) as f64 }
        },
    );
    assert!((41..60).any(|week| loss(&told(&herd, week).each[2]).is_some()));
}

#[test]
fn a_group_that_loses_is_told_of_and_hides_nobody() {
    let herd = herd(9, 60, |_, week| 1.0 - 0.012 * week.saturating_sub(48) as f64);
    let told = told(&herd, 59);
    for (readings, trend) in herd.iter().zip(&told.each) {
        let alone = trend::watch(&Subject::new(readings, Tz::UTC), at(59), &Settings::default());
        assert_eq!(trend.findings.is_empty(), alone.findings.is_empty());
        assert_eq!(trend.beside.map(|beside| beside.apart), Some(false));
    }
    assert!(told.each.iter().any(|trend| loss(trend).is_some()));
    let whole = told.whole.unwrap();
    assert_eq!((whole.weighed, whole.below, whole.cause), (9, 9, Cause::Loss));
    assert!(
        whole.level_percent < -5.0 && (whole.since - at(48).date_naive()).num_days().abs() <= 21,
        "{whole:?}"
    );
}

#[test]
fn companions_show_a_season_that_is_not_known() {
    // A fall of 18 % over half a year, in the first year of all of them.
    let herd = herd(9, 40, |_, week| 1.0 + 0.09 * (week as f64 / 52.0 * std::f64::consts::TAU).cos());
    // Until the group as a whole is told of, no member is.
    let whole = (5..40).find(|week| told(&herd, *week).whole.is_some()).unwrap();
    for week in 5..whole {
        assert!(told(&herd, week).each.iter().all(|trend| trend.findings.is_empty()), "week {week}");
    }
}

#[test]
fn alone_is_the_same_as_in_a_group_of_one() {
    let herd = herd(1, 60, losing(0.0));
    let subject = Subject::new(&herd[0], Tz::UTC);
    let alone = trend::watch(&subject, at(59), &Settings::default());
    assert_eq!(watch(&[subject], at(59), &Settings::default()).each, [alone]);
}

#[test]
fn four_animals_are_too_few_to_compare() {
    let herd = herd(4, 60, losing(0.02));
    assert_eq!(told(&herd, 59).each[2].beside, None);
}

#[test]
fn a_scale_that_is_off_is_told_from_a_loss() {
    // All of them 8 % lighter from one weighing to the next, and so they stay.
    let herd = herd(9, 60, |_, week| if week < 48 { 1.0 } else { 0.92 });
    let told = told(&herd, 53);
    let whole = told.whole.unwrap();
    let Cause::Scale { percent } = whole.cause else { panic!("{whole:?}") };
    assert!((percent + 8.0).abs() < 1.5, "{percent}");
    // None of them is raised by itself.
    for finding in told.each.iter().flat_map(|trend| &trend.findings) {
        assert!(whole.covers(finding, &Settings::default()), "{finding:?}");
    }
}

#[test]
fn one_that_loses_far_more_than_its_group_is_told_of_beside_it() {
    let herd = herd(9, 60, |animal, week| {
        let rate = if animal == 2 { 0.025 } else { 0.009 };
        1.0 - rate * week.saturating_sub(48) as f64
    });
    let told = told(&herd, 59);
    let whole = told.whole.unwrap();
    assert_eq!(whole.cause, Cause::Loss);
    let covered =
        |trend: &trend::Trend| loss(trend).map(|(finding, _)| whole.covers(finding, &Settings::default()));
    assert_eq!(covered(&told.each[2]), Some(false));
    let others = told.each.iter().enumerate().filter(|(member, _)| *member != 2);
    assert!(others.filter_map(|(_, trend)| covered(trend)).all(|covered| covered));
}

#[test]
fn animals_that_fall_at_once_but_each_by_its_own_share_lose() {
    let herd = herd(9, 60, |animal, week| if week < 48 { 1.0 } else { 0.98 - 0.02 * animal as f64 });
    assert_eq!(told(&herd, 53).whole.unwrap().cause, Cause::Loss);
}
