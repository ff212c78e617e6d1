//! How long and how far outside the range it was, and for how long nobody can say.
//!
//! Between two readings the value is taken to run in a straight line, if they are no further apart than
//! the device may be silent; otherwise the time between them counts as unknown. The range of the first
//! of the two holds until the second.

use super::{Plan, Range, Reading};
use crate::terms::{Instant, Interval};
use chrono::TimeDelta;
use serde::Serialize;

/// What is known of a stretch of time.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Exposure {
    /// Hours for which the value is known.
    pub known: f64,
    /// Hours below the range.
    pub below: f64,
    /// Hours above it.
    pub above: f64,
    /// Hours below, each weighed by how far: degree-hours where the unit is degrees.
    pub below_by: f64,
    /// Hours above, each weighed by how far.
    pub above_by: f64,
    /// Stretches in which nothing is known, longer than the device may be silent.
    pub silent: Vec<Interval>,
}

/// Sums up the readings of one device from `during.from` to `during.until` (to the last reading where it
/// has no end). `readings` stand in order of time; those outside are left aside.
#[must_use]
pub fn exposure(readings: &[Reading], plan: &Plan, during: Interval, may_be_silent: TimeDelta) -> Exposure {
    let within: Vec<&Reading> = readings.iter().filter(|reading| during.contains(reading.at)).collect();
    let mut told = Exposure { silent: silences(&within, during, may_be_silent), ..Exposure::default() };
    for pair in within.windows(2) {
        let (one, other) = (pair[0], pair[1]);
        let hours = (other.at - one.at).as_seconds_f64() / 3_600.0;
        if other.at - one.at > may_be_silent || hours <= 0.0 {
            continue;
        }
        let Range { low, high } = plan.at(one.at);
        told.known += hours;
        if let Some(low) = low {
            let (share, depth) = past_zero(low - one.value, low - other.value);
            told.below += share * hours;
            told.below_by += depth * hours;
        }
        if let Some(high) = high {
            let (share, depth) = past_zero(one.value - high, other.value - high);
            told.above += share * hours;
            told.above_by += depth * hours;
        }
    }
    told
}

/// For a straight line from `start` to `end`: the share of the way on which it is above zero, and the
/// mean over the whole way of how far above it is.
fn past_zero(start: f64, end: f64) -> (f64, f64) {
    match (start > 0.0, end > 0.0) {
        (true, true) => (1.0, f64::midpoint(start, end)),
        (false, false) => (0.0, 0.0),
        (from_above, _) => {
            let peak = if from_above { start } else { end };
            let share = peak / (start - end).abs();
            (share, share * peak / 2.0)
        }
    }
}

/// Stretches longer than `allowed` without a reading, from the beginning to the end.
fn silences(within: &[&Reading], during: Interval, allowed: TimeDelta) -> Vec<Interval> {
    let times: Vec<Instant> =
        std::iter::once(during.from).chain(within.iter().map(|r| r.at)).chain(during.until).collect();
    let stretches = times.windows(2).map(|pair| Interval { from: pair[0], until: Some(pair[1]) });
    stretches.filter(|gap| gap.until.is_some_and(|until| until - gap.from > allowed)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::range::Rule;
    use super::*;
    use proptest::prelude::*;

    fn at(minute: i64) -> Instant {
        Instant::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    fn plan() -> Plan {
        let range = Range { low: Some(15.0), high: Some(25.0) };
        Plan { zone: chrono_tz::UTC, rules: vec![Rule { season: None, hours: None, range }] }
    }

    fn told(values: &[(i64, f64)], until: i64) -> Exposure {
        let readings: Vec<Reading> = values.iter().map(|&(m, value)| Reading { at: at(m), value }).collect();
        let during = Interval { from: at(0), until: Some(at(until)) };
        exposure(&readings, &plan(), during, TimeDelta::minutes(30))
    }

    #[test]
    fn hours_and_degree_hours_of_a_dip() {
        // Falls through 15 half-way, stays two below for an hour, comes back through 15 half-way.
        let values = [(0, 17.0), (30, 13.0), (60, 13.0), (90, 13.0), (120, 17.0)];
        let exposure = told(&values, 121);
        assert!((exposure.known - 2.0).abs() < 1e-12);
        assert!((exposure.below - 1.5).abs() < 1e-12, "{exposure:?}");
        assert!((exposure.below_by - (2.0 + 2.0 * 0.25)).abs() < 1e-12);
        assert!(exposure.above.abs() < 1e-12 && exposure.silent.is_empty());
    }

    #[test]
    fn a_swing_from_below_to_above_counts_on_both_sides() {
        let exposure = told(&[(0, 10.0), (30, 30.0)], 31);
        assert!((exposure.below - 0.125).abs() < 1e-12 && (exposure.above - 0.125).abs() < 1e-12);
    }

    #[test]
    fn silence_is_unknown_and_told() {
        let exposure = told(&[(5, 10.0), (20, 10.0), (90, 10.0), (100, 10.0)], 200);
        assert!(
            (exposure.known - 25.0 / 60.0).abs() < 1e-12 && (exposure.below - exposure.known).abs() < 1e-12
        );
        let gaps: Vec<_> = exposure.silent.iter().map(|gap| (gap.from, gap.until.unwrap())).collect();
        assert_eq!(gaps, [(at(20), at(90)), (at(100), at(200))]);
        assert_eq!(told(&[], 200).silent.len(), 1, "a device that never spoke");
    }

    proptest! {
        /// Against adding up thousands of small steps.
        #[test]
        fn straight_lines_are_summed_exactly(values in prop::collection::vec(5.0..35.0_f64, 2..12)) {
            let points: Vec<(i64, f64)> = values.iter().zip(0..).map(|(&v, i)| (i * 20, v)).collect();
            let exposure = told(&points, i64::try_from(values.len()).unwrap() * 20);
            let (mut below, mut above_by) = (0.0, 0.0);
            for pair in values.windows(2) {
                for step in 0..2_000 {
                    let value = pair[0] + (pair[1] - pair[0]) * (f64::from(step) + 0.5) / 2_000.0;
                    below += f64::from(u8::from(value < 15.0)) / 6_000.0;
                    above_by += (value - 25.0).max(0.0) / 6_000.0;
                }
            }
            prop_assert!((exposure.below - below).abs() < 0.005);
            prop_assert!((exposure.above_by - above_by).abs() < 0.005);
        }
    }
}
