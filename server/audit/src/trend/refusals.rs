//! How an animal takes to the scale.

use super::finding::{Evidence, Finding, Refusal};
use super::settings::Settings;
use super::subject::Subject;
use crate::episode::Severity;
use crate::reading::Reading;
use crate::stats::count;
use crate::terms::Instant;
use crate::zone;

/// How rare a row of refusals must be by the animal's own habit. It is asked at every attempt, some
/// fifty times a year.
const RARE: f64 = 0.0005;

/// Attempts without mass since the last one with, and a finding where such a row is not its habit. The
/// habit is its earlier share of refusals, begun at one in ten tries so that a short record does not
/// make it perfect.
pub(super) fn refusals(subject: &Subject<'_>, as_of: Instant, settings: &Settings) -> (u32, Option<Finding>) {
    let mut past: Vec<&Reading> = subject.readings.iter().filter(|reading| reading.at <= as_of).collect();
    past.sort_by_key(|reading| (reading.at, reading.record));
    let split = past.iter().rposition(|reading| reading.mass.is_some()).map_or(0, |last| last + 1);
    let (earlier, row) = past.split_at(split);
    let in_a_row = u32::try_from(row.len()).unwrap_or(u32::MAX);
    let refused = earlier.iter().filter(|reading| reading.mass.is_none()).count();
    let usual = (count(refused) + 1.0) / (count(earlier.len()) + 10.0);
    let chance = usual.powf(f64::from(in_a_row));
    let finding =
        row.first().filter(|_| in_a_row >= settings.refusals && chance <= RARE).map(|first| Finding {
            severity: Severity::Watch,
            since: zone::day_of(subject.zone, first.at),
            evidence: Evidence::Refusal(Refusal { in_a_row, usual_percent: 100.0 * usual, chance }),
            records: row.iter().map(|reading| reading.record).collect(),
        });
    (in_a_row, finding)
}
