//! Rules that allow a limit to be passed for so many hours on end and no longer.
//!
//! Such a rule is about runs: one reading within the limits begins the count anew. Values are compared in
//! the unit in which the rule is written, because its rounded conversions differ from it: 85 °F is
//! 29.44 °C, and 9 CFR prints 29.5. A gap in the log is not compliance: where a gap, taken as bad, would
//! break the rule, the rule is unproven.

use super::Reading;
use super::range::Range;
use crate::terms::{Instant, Interval};
use chrono::TimeDelta;
use serde::Serialize;

/// A temperature scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Scale {
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
}

impl Scale {
    /// A temperature of this scale on another.
    #[must_use]
    pub fn to(self, other: Self, degrees: f64) -> f64 {
        match (self, other) {
            (Self::Celsius, Self::Fahrenheit) => degrees * 9.0 / 5.0 + 32.0,
            (Self::Fahrenheit, Self::Celsius) => (degrees - 32.0) * 5.0 / 9.0,
            _ => degrees,
        }
    }
}

/// For how long on end a limit may be passed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tolerance {
    /// At no time.
    Never,
    /// For as long as this and no longer.
    UpTo(TimeDelta),
}

/// A limit as a rule states it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// What must be kept, on `scale`.
    pub range: Range,
    /// The scale in which the rule is written.
    pub scale: Scale,
    /// For how long on end it may be passed.
    pub tolerance: Tolerance,
}

/// Whether the rule was kept.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kept {
    /// It was, whatever happened in the gaps of the log.
    Yes,
    /// It was not: from the first to the last reading of this run the limit was passed.
    No {
        /// The first such run.
        run: Interval,
    },
    /// Nothing shows that it was broken, but in these gaps, or together with what was read beside them, it
    /// may have been.
    Unproven {
        /// The gaps.
        gaps: Vec<Interval>,
    },
}

/// Checks a log in degrees of `scale`, in order of time, from `during.from` to `during.until`. Readings
/// further apart than `may_be_silent` leave a gap; closer ones are taken to tell what was between them.
#[must_use]
pub fn check(
    limit: &Limit,
    readings: &[Reading],
    scale: Scale,
    during: (Instant, Instant),
    may_be_silent: TimeDelta,
) -> Kept {
    let (from, until) = during;
    // A limit that is met exactly in theory must not fail by the rounding of a conversion.
    let tolerance = 1e-9;
    let passed = |value: f64| limit.range.beyond(scale.to(limit.scale, value)).abs() > tolerance;
    let within = readings.iter().filter(|reading| from <= reading.at && reading.at < until);
    let mut run: Option<Run> = None;
    let (mut gaps, mut last) = (Vec::new(), from);
    for reading in within {
        if reading.at - last > may_be_silent {
            let gap = Interval { from: last, until: Some(reading.at) };
            run.get_or_insert_with(|| Run::beginning(last)).over_gap(gap);
        }
        last = reading.at;
        if passed(reading.value) {
            let run = run.get_or_insert_with(|| Run::beginning(reading.at));
            run.read(reading.at);
            if limit.broken_by(run.longest_read) {
                return Kept::No { run: Interval { from: run.read_from, until: Some(reading.at) } };
            }
        } else if let Some(run) = run.take() {
            gaps.extend(run.doubtful(limit, reading.at));
        }
    }
    if until - last > may_be_silent {
        let gap = Interval { from: last, until: Some(until) };
        run.get_or_insert_with(|| Run::beginning(last)).over_gap(gap);
    }
    gaps.extend(run.into_iter().flat_map(|run| run.doubtful(limit, until)));
    if gaps.is_empty() { Kept::Yes } else { Kept::Unproven { gaps } }
}

impl Limit {
    fn broken_by(&self, length: Option<TimeDelta>) -> bool {
        match (self.tolerance, length) {
            (_, None) => false,
            (Tolerance::Never, Some(_)) => true,
            (Tolerance::UpTo(allowed), Some(length)) => length > allowed,
        }
    }
}

/// A stretch in which no reading lies within the limits.
struct Run {
    /// Where it began, gaps taken as bad.
    from: Instant,
    /// Where the part of it began that has no gap, up to now.
    read_from: Instant,
    /// How long that part is; nothing where it has no reading yet.
    longest_read: Option<TimeDelta>,
    gaps: Vec<Interval>,
}

impl Run {
    const fn beginning(at: Instant) -> Self {
        Self { from: at, read_from: at, longest_read: None, gaps: Vec::new() }
    }

    fn over_gap(&mut self, gap: Interval) {
        self.gaps.push(gap);
        self.longest_read = None;
    }

    fn read(&mut self, at: Instant) {
        if self.longest_read.is_none() {
            self.read_from = at;
        }
        self.longest_read = Some(at - self.read_from);
    }

    /// The gaps of the run, if the rule may have been broken in it. `end` is the first moment after it of
    /// which something is known; a run without gap was judged by what was read.
    fn doubtful(self, limit: &Limit, end: Instant) -> Vec<Interval> {
        let longest = end - self.from;
        if self.gaps.is_empty() || !limit.broken_by(Some(longest)) { Vec::new() } else { self.gaps }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(minute: i64) -> Instant {
        Instant::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    fn frost(tolerance: Tolerance) -> Limit {
        Limit { range: Range { low: Some(0.0), high: None }, scale: Scale::Celsius, tolerance }
    }

    fn told(tolerance: Tolerance, values: &[(i64, f64)], until: i64) -> Kept {
        let readings: Vec<Reading> = values.iter().map(|&(m, value)| Reading { at: at(m), value }).collect();
        check(&frost(tolerance), &readings, Scale::Celsius, (at(0), at(until)), TimeDelta::minutes(30))
    }

    const TWO_HOURS: Tolerance = Tolerance::UpTo(TimeDelta::hours(2));

    #[test]
    fn a_gap_between_bad_readings_leaves_the_rule_unproven() {
        let mut values: Vec<(i64, f64)> = (0..4).map(|i| (i * 30, -1.0)).collect();
        values.extend([(180, -1.0), (190, 3.0)]);
        let gap = Interval { from: at(90), until: Some(at(180)) };
        assert_eq!(told(TWO_HOURS, &values, 200), Kept::Unproven { gaps: vec![gap] });
        // A good reading in between settles it.
        values.insert(4, (120, 2.0));
        assert_eq!(told(TWO_HOURS, &values[..5], 140), Kept::Yes);
    }

    #[test]
    fn a_gap_too_short_to_break_the_rule_leaves_no_doubt() {
        let values = [(0, 3.0), (30, 3.0), (150, 3.0), (170, 3.0)];
        assert_eq!(told(TWO_HOURS, &values, 180), Kept::Yes);
        let gap = Interval { from: at(30), until: Some(at(150)) };
        assert_eq!(told(Tolerance::Never, &values, 180), Kept::Unproven { gaps: vec![gap] });
    }

    #[test]
    fn a_log_that_says_nothing_proves_nothing() {
        let gap = Interval { from: at(0), until: Some(at(600)) };
        assert_eq!(told(TWO_HOURS, &[], 600), Kept::Unproven { gaps: vec![gap] });
    }

    #[test]
    fn what_was_read_is_enough_to_break_a_rule() {
        let values: Vec<(i64, f64)> = (0..12).map(|i| (i * 20, if i >= 2 { -1.0 } else { 1.0 })).collect();
        let run = Interval { from: at(40), until: Some(at(180)) };
        assert_eq!(told(TWO_HOURS, &values, 240), Kept::No { run });
    }

    proptest! {
        /// Taking readings away never turns a broken or unproven rule into one that was kept: each that is missing,
        /// the first and the last among them, leaves a gap of 50 minutes.
        #[test]
        fn fewer_readings_never_prove_more(values in prop::collection::vec(-3.0..3.0_f64, 4..60), gone in any::<u64>()) {
            let all: Vec<(i64, f64)> = values.iter().zip(1..).map(|(&v, i)| (i * 25, v)).collect();
            let end = i64::try_from(all.len() + 1).unwrap() * 25;
            let some: Vec<_> = all.iter().enumerate().filter(|(i, _)| gone >> (i % 64) & 1 == 0).map(|(_, v)| *v).collect();
            for tolerance in [Tolerance::Never, TWO_HOURS] {
                if told(tolerance, &all, end) != Kept::Yes {
                    prop_assert_ne!(told(tolerance, &some, end), Kept::Yes);
                }
            }
        }
    }
}
