//! Readings drawn together by week.

use super::settings::Settings;
use super::subject::Subject;
use crate::reading::Reading;
use crate::stats::median_mad;
use crate::terms::{Day, Instant, Mass, RecordId};
use crate::zone;
use chrono::Datelike;

/// A reading with a mass that may be used.
#[derive(Clone, Copy, Debug)]
pub(super) struct Used {
    pub(super) record: RecordId,
    pub(super) day: Day,
    pub(super) mass: Mass,
    /// ln of the mass in grams, as the reference scale would have shown it.
    pub(super) log: f64,
}

/// The readings of one week, from Monday on. An animal weighed daily gets one point per week like all
/// others: its days are too much alike to count as news of their own.
#[derive(Clone, Copy, Debug)]
pub(super) struct Week {
    /// Weeks from some fixed Monday.
    pub(super) number: i32,
    /// Median of the logs.
    pub(super) log: f64,
    /// Place of the first and after the last of its readings.
    pub(super) first: usize,
    pub(super) end: usize,
    /// The animal was carrying for at least part of it.
    pub(super) gravid: bool,
}

/// Readings with a mass up to `as_of` and from the day the weight was settled, oldest first.
pub(super) fn with_mass(subject: &Subject<'_>, as_of: Instant) -> Vec<Reading> {
    let from = subject.settled.map(|day| zone::start_of_day(subject.zone, day));
    let mut readings: Vec<Reading> = subject
        .readings
        .iter()
        .filter(|reading| reading.at <= as_of && from.is_none_or(|from| from <= reading.at))
        .filter(|reading| reading.mass.is_some_and(|mass| mass.mg() > 0))
        .copied()
        .collect();
    readings.sort_by_key(|reading| (reading.at, reading.record));
    readings
}

/// The readings that may be used, of those in order of time.
pub(super) fn usable(readings: &[Reading], subject: &Subject<'_>, settings: &Settings) -> Vec<Used> {
    let used = |(reading, mass): (&Reading, Mass)| Used {
        record: reading.record,
        day: zone::day_of(subject.zone, reading.at),
        mass,
        log: mass.grams().ln() - subject.offsets.map_or(0.0, |offsets| offsets.log(reading.scale)),
    };
    settings.agreement.usable(readings).map(used).collect()
}

/// Draws readings, oldest first, together by week.
pub(super) fn by_week(used: &[Used], subject: &Subject<'_>) -> Vec<Week> {
    let mut weeks = Vec::with_capacity(used.len());
    let mut logs = Vec::new();
    let mut first = 0;
    for days in used.chunk_by(|a, b| number(a.day) == number(b.day)) {
        logs.clear();
        logs.extend(days.iter().map(|used| used.log));
        let number = number(days[0].day);
        let (monday, next) = (monday(number), monday(number + 1));
        let gravid = subject
            .gravid
            .iter()
            .any(|span| span.from < next && span.until.is_none_or(|until| monday < until));
        let end = first + days.len();
        weeks.push(Week {
            number,
            log: median_mad::median(&mut logs).unwrap_or(days[0].log),
            first,
            end,
            gravid,
        });
        first = end;
    }
    weeks
}

/// The week that a day belongs to.
pub(super) fn number(day: Day) -> i32 {
    // Day 1 of the common era was a Monday.
    (day.num_days_from_ce() - 1).div_euclid(7)
}

/// The first day of a week.
pub(super) fn monday(number: i32) -> Day {
    Day::from_num_days_from_ce_opt(number * 7 + 1).unwrap_or(Day::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn weeks_start_on_mondays(days in 700_000i32..760_000) {
            let day = Day::from_num_days_from_ce_opt(days).unwrap();
            let monday = monday(number(day));
            prop_assert_eq!(monday, day - Days::new(day.weekday().num_days_from_monday().into()));
        }
    }
}
