//! The rules that are compared, each asked once a week.

use crate::herd::{Animal, Herd, WEEKS, start_of_week};
use chrono::TimeDelta;
use chrono_tz::Tz;
use holt_audit::episode::{self, Change, Episode, Severity, Sighting};
use holt_audit::reading::Reading;
use holt_audit::trend::{self, Settings, Subject, watch};

/// A way to decide that an animal needs a look.
#[derive(Clone, Copy)]
pub(crate) enum Rule<'a> {
    /// Ours.
    Trend(&'a Settings),
    /// So many per cent below the weight before.
    BelowLast(f64),
    /// So many per cent below the mean of the past year.
    BelowYear(f64),
}

/// Weeks from `from` on in which the rule raised something anew.
pub(crate) fn raised(
    rule: Rule<'_>,
    herd: &Herd,
    animal: &Animal,
    readings: &[Reading],
    from: usize,
    until: usize,
) -> Vec<usize> {
    let plain = plain(readings);
    let mut carried = [None; 2];
    let mut weeks = Vec::new();
    for week in from..until.min(WEEKS) {
        let end = start_of_week(week + 1) - TimeDelta::seconds(1);
        let seen: [Option<Sighting>; 2] = match rule {
            Rule::Trend(settings) => {
                let past = readings.partition_point(|reading| reading.at <= end);
                let subject = Subject {
                    gravid: &animal.gravid,
                    season: herd.season(week),
                    offsets: Some(herd.offsets(week)),
                    ..Subject::new(&readings[..past], Tz::UTC)
                };
                let findings = watch(&subject, end, settings).findings;
                let of = |wanted: fn(&trend::Evidence) -> bool| {
                    findings
                        .iter()
                        .find(|finding| wanted(&finding.evidence))
                        .map(|finding| Sighting { since: finding.since, severity: finding.severity })
                };
                [
                    of(|seen| matches!(seen, trend::Evidence::Loss(_))),
                    of(|seen| matches!(seen, trend::Evidence::Refusal(_))),
                ]
            }
            Rule::BelowLast(percent) => [
                simple(&plain, week, |past, now| now < (1.0 - percent / 100.0) * past[past.len() - 1].1),
                None,
            ],
            Rule::BelowYear(percent) => [
                simple(&plain, week, |past, now| {
                    let year: Vec<f64> =
                        past.iter().filter(|(then, _)| then + 52 >= week).map(|(_, grams)| *grams).collect();
                    year.len() >= 4
                        && now < (1.0 - percent / 100.0) * year.iter().sum::<f64>() / year.len() as f64
                }),
                None,
            ],
        };
        let mut anew = false;
        for (carried, seen) in carried.iter_mut().zip(seen) {
            let (next, change): (Option<Episode>, Change) = episode::follow(*carried, seen, end.date_naive());
            *carried = next;
            anew |= change == Change::Raised;
        }
        if anew {
            weeks.push(week);
        }
    }
    weeks
}

/// Week and grams of each reading that was not doubtful; of two in a week the second.
fn plain(readings: &[Reading]) -> Vec<(usize, f64)> {
    let start = start_of_week(0);
    let mut plain: Vec<(usize, f64)> = Vec::with_capacity(readings.len());
    for (place, reading) in readings.iter().enumerate() {
        let Some(mass) = reading.mass else { continue };
        let week = usize::try_from((reading.at - start).num_days() / 7).unwrap_or(0);
        let confirmed = reading.doubtful
            && place > 0
            && readings[place - 1].doubtful
            && readings[place - 1].mass.is_some_and(|first| (first.grams() / mass.grams()).ln().abs() < 0.04);
        if reading.doubtful && !confirmed {
            continue;
        }
        if plain.last().is_some_and(|(last, _)| *last == week) {
            plain.pop();
        }
        plain.push((week, mass.grams()));
    }
    plain
}

/// A rule on the reading of this week and those before it. A week without reading keeps quiet.
fn simple(
    plain: &[(usize, f64)],
    week: usize,
    rule: impl Fn(&[(usize, f64)], f64) -> bool,
) -> Option<Sighting> {
    let place = plain.binary_search_by_key(&week, |(then, _)| *then).ok().filter(|place| *place > 0)?;
    rule(&plain[..place], plain[place].1)
        .then(|| Sighting { since: start_of_week(week).date_naive(), severity: Severity::Act })
}
