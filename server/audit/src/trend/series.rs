//! The readings of one animal that may be used, drawn together by week.

use super::settings::Settings;
use super::subject::Subject;
use crate::reading::Reading;
use crate::stats::median_mad;
use crate::terms::{Day, Instant, Mass, RecordId};
use crate::zone;
use chrono::Datelike;

/// A reading with a mass that may be used.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Used {
    pub(crate) record: RecordId,
    pub(crate) day: Day,
    pub(crate) mass: Mass,
    /// ln of the mass in grams, as the reference scale would have shown it.
    pub(crate) log: f64,
}

/// The readings of one week, from Monday on. An animal weighed daily gets one point per week like all
/// others: its days are too much alike to count as news of their own.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Week {
    /// Weeks from some fixed Monday.
    pub(crate) number: i32,
    /// Median of the logs.
    pub(crate) log: f64,
    /// The last of them.
    pub(crate) last: f64,
    /// Place of the first of its readings.
    pub(crate) first: usize,
    /// The animal was carrying for at least part of it.
    pub(crate) gravid: bool,
}

/// All of that for one animal as of an instant.
#[derive(Clone, Debug)]
pub(crate) struct Series {
    /// Readings with a mass, used or not.
    pub(crate) readings: usize,
    /// Day of the latest of them.
    pub(crate) last_mass: Option<Day>,
    pub(crate) used: Vec<Used>,
    pub(crate) weeks: Vec<Week>,
}

impl Series {
    pub(crate) fn of(subject: &Subject<'_>, as_of: Instant, settings: &Settings) -> Self {
        let from = subject.settled.map(|day| zone::start_of_day(subject.zone, day));
        let mut readings: Vec<Reading> = subject
            .readings
            .iter()
            .filter(|reading| reading.at <= as_of && from.is_none_or(|from| from <= reading.at))
            .filter(|reading| reading.mass.is_some_and(|mass| mass.mg() > 0))
            .copied()
            .collect();
        readings.sort_by_key(|reading| (reading.at, reading.record));
        let day = |reading: &Reading| zone::day_of(subject.zone, reading.at);
        let offset = |reading: &Reading| subject.offsets.map_or(0.0, |offsets| offsets.log(reading.scale));
        let used: Vec<Used> = settings
            .agreement
            .usable(&readings)
            .map(|(reading, mass)| Used {
                record: reading.record,
                day: day(reading),
                mass,
                log: mass.grams().ln() - offset(reading),
            })
            .collect();
        let weeks = by_week(&used, subject);
        Self { readings: readings.len(), last_mass: readings.last().map(day), used, weeks }
    }

    /// The weeks later than `number`.
    pub(crate) fn since(&self, number: i32) -> &[Week] {
        &self.weeks[self.weeks.partition_point(|week| week.number <= number)..]
    }
}

/// Draws readings, oldest first, together by week.
fn by_week(used: &[Used], subject: &Subject<'_>) -> Vec<Week> {
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
        let last = logs[logs.len() - 1];
        let log = median_mad::median(&mut logs).unwrap_or(last);
        weeks.push(Week { number, log, last, first, gravid });
        first += days.len();
    }
    weeks
}

/// The week that a day belongs to.
pub(crate) fn number(day: Day) -> i32 {
    // Day 1 of the common era was a Monday.
    (day.num_days_from_ce() - 1).div_euclid(7)
}

/// The first day of a week.
pub(crate) fn monday(number: i32) -> Day {
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
