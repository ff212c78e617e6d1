//! What an estimate is worth: who is found, at the price of how many false alarms, and whether the per cent that
//! it says are so.

use crate::herd::{Herd, at};
use chrono::TimeDelta;
use chrono_tz::Tz;
use holt_audit::companions;
use holt_audit::reading::Reading;
use holt_audit::standing::elo;
use holt_audit::standing::exclusion::hidden::{Course, Last, Model, courses};
use holt_audit::terms::{Instant, Mass, RecordId};
use holt_audit::trend::{Settings, Subject};
use std::collections::BTreeMap;

/// Weeks before the first look: before it there is no past.
const FIRST: i64 = 9;
/// Weeks of weights that are read.
const WEIGHED: i64 = 20;

/// One animal of a group, ready to be judged by any model.
pub(crate) struct Life {
    course: Course,
    lasts: BTreeMap<Instant, Last>,
    /// For each end of a week: weeks since pressure began, if it is under pressure.
    truth: BTreeMap<Instant, i64>,
    pub(crate) mild: bool,
    pub(crate) alike: bool,
}

/// An animal after a week.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Look {
    pub(crate) estimate: f64,
    /// Weeks since pressure began, where it is under pressure.
    pub(crate) pressed: Option<i64>,
}

/// The animals of a group.
pub(crate) fn lives(herd: &Herd) -> Vec<Life> {
    let until = at(herd.last, 0.0);
    let ratings = elo::rate(&sorted(herd), elo::Settings::default()).unwrap();
    let stake = elo::Settings::default().stake;
    let weeks = herd.last / 7;
    let weights: Vec<BTreeMap<Instant, f64>> = against_companions(herd, weeks);
    courses(&herd.record, until)
        .unwrap()
        .into_iter()
        .enumerate()
        .map(|(animal, course)| {
            let pressed = herd.pressed.iter().find(|span| span.who == animal);
            let mut lasts = BTreeMap::new();
            let mut truth = BTreeMap::new();
            for week in 1..=weeks {
                let now = at(7 * week, 0.0);
                let edge = now - TimeDelta::days(21);
                let course = ratings.course(&animal).iter();
                let contests = course.filter(|(then, _)| edge < *then && *then < now).count();
                let fall = (ratings.at(&animal, edge) - ratings.at(&animal, now)) / stake;
                let fall = (contests >= 3).then_some(fall.clamp(0.0, 4.0));
                lasts.insert(now, Last { weight: weights[animal].get(&now).copied(), fall });
                if let Some(span) = pressed.filter(|span| span.covers(animal, 7 * week - 1)) {
                    truth.insert(now, (7 * week - span.from) / 7);
                }
            }
            let alike = herd.alike.contains(&animal);
            Life { course, lasts, truth, mild: herd.mild && pressed.is_some(), alike }
        })
        .collect()
}

fn sorted(herd: &Herd) -> Vec<holt_audit::standing::contests::Decided<usize>> {
    let mut contests = herd.record.contests.clone();
    contests.sort_by_key(|contest| contest.at);
    contests
}

/// Weight against the companions as the service works it out.
fn against_companions(herd: &Herd, weeks: i64) -> Vec<BTreeMap<Instant, f64>> {
    let reading = |(day, grams): &(i64, f64)| Reading {
        record: RecordId(u128::from(day.unsigned_abs())),
        at: at(*day, 8.0),
        mass: Some(Mass::from_grams(*grams)),
        scale: None,
        doubtful: false,
    };
    let readings: Vec<Vec<Reading>> =
        herd.weights.iter().map(|weights| weights.iter().map(reading).collect()).collect();
    let mut told = vec![BTreeMap::new(); readings.len()];
    if readings.iter().all(Vec::is_empty) {
        return told;
    }
    for week in FIRST..=weeks {
        let now = at(7 * week, 0.0);
        let from = now - TimeDelta::weeks(WEIGHED);
        let late = |readings: &'_ [Reading]| readings.partition_point(|reading| reading.at < from);
        let subjects: Vec<Subject<'_>> =
            readings.iter().map(|all| Subject::new(&all[late(all)..], Tz::UTC)).collect();
        for (animal, trend) in companions::watch(&subjects, now, &Settings::default()).each.iter().enumerate()
        {
            if let Some(beside) = trend.beside {
                told[animal].insert(now, beside.z);
            }
        }
    }
    told
}

impl Life {
    /// Each week from the first look on.
    pub(crate) fn looks(&self, model: &Model) -> Vec<Look> {
        let last = |now: Instant| self.lasts.get(&now).copied().unwrap_or_default();
        let told = self.course.told(model, last);
        told.into_iter()
            .filter(|(now, _)| *now >= at(7 * FIRST, 0.0))
            .map(|(now, estimate)| Look { estimate, pressed: self.truth.get(&now).copied() })
            .collect()
    }
}

/// Mean ln score of the truth: what is fitted.
pub(crate) fn ln_score(lives: &[Life], model: &Model) -> f64 {
    let (mut sum, mut n) = (0.0, 0.0);
    for look in lives.iter().flat_map(|life| life.looks(model)) {
        let p = look.estimate.clamp(1e-4, 1.0 - 1e-4);
        sum += if look.pressed.is_some() { p.ln() } else { (1.0 - p).ln() };
        n += 1.0;
    }
    sum / n
}

/// What an estimate achieves at one level.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Worth {
    pub(crate) level: f64,
    /// Share of those under pressure that were told while they were.
    pub(crate) found: f64,
    /// Weeks from the beginning until then, in the middle.
    pub(crate) weeks: i64,
    /// Alarms begun for animals that were not, for each animal-year.
    pub(crate) false_a_year: f64,
}

/// Alarms wherever the estimate reaches a level. One that goes on is one alarm, and so is one that returns within
/// four weeks. Weeks in which pressure has just ended count for neither.
pub(crate) fn worth(lives: &[Vec<Look>], level: f64) -> Worth {
    let (mut found, mut pressed, mut alarms, mut quiet_weeks) = (Vec::new(), 0.0, 0.0, 0.0);
    for looks in lives {
        let mut since_alarm = 5;
        let mut since_pressed = 9;
        for look in looks {
            let told = look.estimate >= level;
            since_pressed = if look.pressed.is_some() { 0 } else { since_pressed + 1 };
            if since_pressed > 6 {
                alarms += f64::from(u8::from(told && since_alarm > 4));
                quiet_weeks += 1.0;
            }
            since_alarm = if told { 0 } else { since_alarm + 1 };
        }
        if looks.iter().any(|look| look.pressed.is_some()) {
            pressed += 1.0;
            found.extend(looks.iter().find_map(|look| look.pressed.filter(|_| look.estimate >= level)));
        }
    }
    found.sort_unstable();
    Worth {
        level,
        found: found.len() as f64 / f64::max(pressed, 1.0),
        weeks: found.get(found.len() / 2).copied().unwrap_or_default(),
        false_a_year: alarms / (f64::max(quiet_weeks, 1.0) / 52.18),
    }
}

/// The lowest level at which there are no more than so many false alarms for each animal-year.
pub(crate) fn at_price(lives: &[Vec<Look>], false_a_year: f64) -> Worth {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..20 {
        let middle = 0.5 * (low + high);
        if worth(lives, middle).false_a_year > false_a_year {
            low = middle;
        } else {
            high = middle;
        }
    }
    worth(lives, high)
}

/// Probability that a look at an animal under pressure scores above one at another (ties half).
pub(crate) fn area(lives: &[Vec<Look>]) -> f64 {
    let mut scored: Vec<(f64, bool)> =
        lives.iter().flatten().map(|look| (look.estimate, look.pressed.is_some())).collect();
    scored.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut below, mut sum, mut positives) = (0.0, 0.0, 0.0);
    for ties in scored.chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq()) {
        let hits = ties.iter().filter(|(_, so)| *so).count() as f64;
        let others = ties.len() as f64 - hits;
        sum += hits * (below + others / 2.0);
        below += others;
        positives += hits;
    }
    sum / (positives * below)
}
