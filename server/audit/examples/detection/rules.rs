//! The rules that are compared, each asked once a week.

use crate::herd::{Group, start_of_week};
use chrono::TimeDelta;
use holt_audit::episode::{self, Change, Severity, Sighting};
use holt_audit::reading::Reading;
use holt_audit::replay::{Event, replay};
use holt_audit::terms::{Instant, Span};
use holt_audit::trend::Settings;
use std::ops::Range;

/// A way to decide that an animal needs a look.
#[derive(Clone, Copy)]
pub(crate) enum Rule {
    /// Ours, of each animal by itself.
    Alone(Settings),
    /// Ours, of each animal among its companions.
    Among(Settings),
    /// So many per cent below the weight before.
    BelowLast(f64),
    /// So many per cent below the mean of the past year.
    BelowYear(f64),
}

/// Which of the members `asked` the rule raised something about, and in which weeks, had it been asked
/// week by week. `readings` are the records of all members of the group.
pub(crate) fn raised(
    rule: &Rule,
    group: &Group<'_>,
    readings: &[&[Reading]],
    asked: &[usize],
    weeks: Range<usize>,
) -> Vec<(usize, usize)> {
    let subject = |member: usize, at: Instant| group.subject(readings[member], member, at);
    match rule {
        Rule::Alone(settings) => {
            let alone = |&member: &usize| {
                let known = |at| vec![(member, subject(member, at))];
                let told = replay(weeks.clone().map(end_of), known, settings);
                told.into_iter()
                    .filter(is_raised)
                    .filter_map(|event| Some((event.member?, week_of(event.at))))
            };
            asked.iter().flat_map(alone).collect()
        }
        Rule::Among(settings) => {
            let all = |at| (0..readings.len()).map(|member| (member, subject(member, at))).collect();
            let told = replay(weeks.map(end_of), all, settings);
            // What is told of the group as one counts, once, where all of its members are asked about.
            let counts = |member: Option<usize>| match member {
                Some(member) => asked.contains(&member),
                None => asked.len() == readings.len(),
            };
            told.iter()
                .filter(|event| is_raised(event) && counts(event.member))
                .map(|event| (event.member.unwrap_or(readings.len()), week_of(event.at)))
                .collect()
        }
        Rule::BelowLast(percent) => simple(group, readings, asked, &weeks, |past, now| {
            past.last().is_some_and(|(_, last)| now.1 < (1.0 - percent / 100.0) * last)
        }),
        Rule::BelowYear(percent) => simple(group, readings, asked, &weeks, |past, now| {
            let year = &past[past.partition_point(|(then, _)| then + 52 < now.0)..];
            let mean = year.iter().map(|(_, grams)| grams).sum::<f64>() / year.len() as f64;
            year.len() >= 4 && now.1 < (1.0 - percent / 100.0) * mean
        }),
    }
}

fn is_raised(event: &Event) -> bool {
    event.change == Change::Raised
}

fn end_of(week: usize) -> Instant {
    start_of_week(week + 1) - TimeDelta::seconds(1)
}

fn week_of(at: Instant) -> usize {
    usize::try_from((at - start_of_week(0)).num_days() / 7).unwrap_or(0)
}

/// A rule on the reading of a week and those before it; a week without reading keeps quiet. What it
/// says is carried in episodes like ours.
fn simple(
    group: &Group<'_>,
    readings: &[&[Reading]],
    asked: &[usize],
    weeks: &Range<usize>,
    rule: impl Fn(&[(usize, f64)], (usize, f64)) -> bool,
) -> Vec<(usize, usize)> {
    let mut raised = Vec::new();
    for &member in asked {
        let plain = plain(readings[member], group.members[member].gravid());
        let mut carried = None;
        for week in weeks.clone() {
            let place = plain.binary_search_by_key(&week, |(then, _)| *then);
            let broken = place.is_ok_and(|place| rule(&plain[..place], plain[place]));
            let day = end_of(week).date_naive();
            let seen = broken.then_some(Sighting { since: day, severity: Severity::Act });
            let change;
            (carried, change) = episode::follow(carried, seen, day);
            if change == Change::Raised {
                raised.push((member, week));
            }
        }
    }
    raised
}

/// Week and grams of each reading that was not doubtful, or was confirmed by the next; of two in a week
/// the second. The rules get the same care as ours: at entry, and that weights while carrying are passed
/// over.
fn plain(readings: &[Reading], gravid: &[Span]) -> Vec<(usize, f64)> {
    let mut plain: Vec<(usize, f64)> = Vec::with_capacity(readings.len());
    for (place, reading) in readings.iter().enumerate() {
        let Some(mass) = reading.mass else { continue };
        let confirms = |other: &Reading| {
            other.doubtful && other.mass.is_some_and(|other| (other.grams() / mass.grams()).ln().abs() < 0.04)
        };
        if gravid.iter().any(|span| span.contains(reading.at.date_naive())) {
            continue;
        }
        if reading.doubtful && !(place > 0 && confirms(&readings[place - 1])) {
            continue;
        }
        let week = week_of(reading.at);
        if plain.last().is_some_and(|(last, _)| *last == week) {
            plain.pop();
        }
        plain.push((week, mass.grams()));
    }
    plain
}
