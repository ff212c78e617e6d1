//! When to tell someone: quickly, and once for one matter.
//!
//! An alarm is raised when the value has been outside the range for some time, or at once when it is far
//! outside; it ends when the value has been well inside for some time. What hovers about an end of the
//! range therefore neither flaps nor hides. A device that is silent for too long is an alarm of its own: a
//! heater that fails at night often takes its sensor along (common practice, no source).

use super::{Plan, Reading};
use crate::terms::{Instant, Interval};
use chrono::TimeDelta;
use serde::Serialize;

/// How quick alarms are, and how slow to end. All of these are choices of the site.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Raised after so long outside the range: long enough for a door that stands open for cleaning.
    pub raise_after: TimeDelta,
    /// Raised at once when so far outside, in the unit of the device.
    pub at_once_beyond: f64,
    /// Ends only when so far inside, in the unit of the device.
    pub margin: f64,
    /// … for so long.
    pub clear_after: TimeDelta,
    /// A device may be silent for so long.
    pub may_be_silent: TimeDelta,
}

/// What an alarm is about.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Matter {
    /// Below the range; the lowest value so far.
    TooLow {
        /// In the unit of the device.
        worst: f64,
    },
    /// Above the range; the highest value so far.
    TooHigh {
        /// In the unit of the device.
        worst: f64,
    },
    /// The device says nothing.
    Silent,
}

/// One alarm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Alarm {
    /// What it is about.
    pub matter: Matter,
    /// When it began to be so.
    pub since: Instant,
    /// When someone was told.
    pub raised: Instant,
    /// When it was over; `None` if it goes on.
    pub over: Option<Instant>,
}

/// All alarms of one device over a stretch of time, in the order in which they were raised. `readings`
/// stand in order of time. A stretch without end has no silence after its last reading.
#[must_use]
pub fn alarms(readings: &[Reading], plan: &Plan, during: Interval, settings: &Settings) -> Vec<Alarm> {
    let mut told = silences(readings, during, settings.may_be_silent);
    let within: Vec<&Reading> = readings.iter().filter(|reading| during.contains(reading.at)).collect();
    let mut watch = Watch::default();
    for reading in within {
        told.extend(watch.step(reading, plan, settings));
    }
    told.extend(watch.alarm);
    told.sort_by_key(|alarm| alarm.raised);
    told
}

fn silences(readings: &[Reading], during: Interval, allowed: TimeDelta) -> Vec<Alarm> {
    let times = readings.iter().map(|reading| reading.at).filter(|at| during.contains(*at));
    let times: Vec<Instant> = std::iter::once(during.from).chain(times).chain(during.until).collect();
    let gaps = times.windows(2).filter(|pair| pair[1] - pair[0] > allowed);
    gaps.map(|pair| Alarm {
        matter: Matter::Silent,
        since: pair[0],
        raised: pair[0] + allowed,
        over: (Some(pair[1]) != during.until).then_some(pair[1]),
    })
    .collect()
}

/// The state between two readings.
#[derive(Default)]
struct Watch {
    /// Since when the value is outside on one side, while no alarm is raised.
    outside: Option<(Instant, Matter)>,
    alarm: Option<Alarm>,
    /// Since when it is well inside, while an alarm goes on.
    inside: Option<Instant>,
}

impl Watch {
    /// Takes one reading; gives back an alarm that it ends.
    fn step(&mut self, reading: &Reading, plan: &Plan, settings: &Settings) -> Option<Alarm> {
        let range = plan.at(reading.at);
        let beyond = range.beyond(reading.value);
        let mut ended = None;
        if let Some(alarm) = &mut self.alarm {
            let same_side = match &mut alarm.matter {
                Matter::TooLow { worst } if beyond <= 0.0 => {
                    *worst = worst.min(reading.value);
                    true
                }
                Matter::TooHigh { worst } if beyond >= 0.0 => {
                    *worst = worst.max(reading.value);
                    true
                }
                _ => false,
            };
            if same_side && range.drawn_in(settings.margin).beyond(reading.value) != 0.0 {
                self.inside = None;
                return None;
            }
            let inside = *self.inside.get_or_insert(reading.at);
            if same_side && reading.at - inside < settings.clear_after {
                return None;
            }
            // Well inside for long enough, or out on the other side.
            alarm.over = Some(inside);
            (ended, self.alarm, self.inside) = (Some(*alarm), None, None);
        }
        let matter = match beyond {
            b if b < 0.0 => Matter::TooLow { worst: reading.value },
            b if b > 0.0 => Matter::TooHigh { worst: reading.value },
            _ => {
                self.outside = None;
                return ended;
            }
        };
        let (since, matter) = match self.outside {
            Some((since, before)) => match worse(before, matter) {
                Some(both) => (since, both),
                None => (reading.at, matter),
            },
            None => (reading.at, matter),
        };
        self.outside = Some((since, matter));
        if beyond.abs() >= settings.at_once_beyond || reading.at - since >= settings.raise_after {
            self.alarm = Some(Alarm { matter, since, raised: reading.at, over: None });
            self.outside = None;
        }
        ended
    }
}

/// The worse of two matters on one side; `None` if they are on different sides.
fn worse(one: Matter, other: Matter) -> Option<Matter> {
    match (one, other) {
        (Matter::TooLow { worst: a }, Matter::TooLow { worst: b }) => {
            Some(Matter::TooLow { worst: a.min(b) })
        }
        (Matter::TooHigh { worst: a }, Matter::TooHigh { worst: b }) => {
            Some(Matter::TooHigh { worst: a.max(b) })
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::Range;
    use super::super::range::Rule;
    use super::*;
    use proptest::prelude::*;

    fn at(minute: i64) -> Instant {
        Instant::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    const SETTINGS: Settings = Settings {
        raise_after: TimeDelta::minutes(15),
        at_once_beyond: 4.0,
        margin: 0.5,
        clear_after: TimeDelta::minutes(20),
        may_be_silent: TimeDelta::minutes(30),
    };

    fn told(values: &[f64]) -> Vec<Alarm> {
        let readings: Vec<Reading> =
            values.iter().zip(0..).map(|(&value, i)| Reading { at: at(5 * i), value }).collect();
        let range = Range { low: Some(15.0), high: Some(25.0) };
        let plan = Plan { zone: chrono_tz::UTC, rules: vec![Rule { season: None, hours: None, range }] };
        let end = at(5 * i64::try_from(values.len()).unwrap());
        alarms(&readings, &plan, Interval { from: at(0), until: Some(end) }, &SETTINGS)
    }

    #[test]
    fn a_door_that_stands_open_for_ten_minutes_raises_nothing() {
        assert_eq!(told(&[17.0, 14.0, 13.5, 14.5, 16.0, 17.0]), []);
    }

    #[test]
    fn a_slow_failure_is_told_after_a_quarter_of_an_hour() {
        let alarms = told(&[16.0, 14.9, 14.5, 14.0, 13.5, 13.0]);
        let matter = Matter::TooLow { worst: 13.0 };
        assert_eq!(alarms, [Alarm { matter, since: at(5), raised: at(20), over: None }]);
    }

    #[test]
    fn a_value_far_outside_is_told_at_once() {
        let alarms = told(&[20.0, 10.9, 20.0, 20.0, 20.0, 20.0, 20.0]);
        let matter = Matter::TooLow { worst: 10.9 };
        assert_eq!(alarms, [Alarm { matter, since: at(5), raised: at(5), over: Some(at(10)) }]);
    }

    #[test]
    fn a_value_that_hovers_about_the_end_is_one_alarm() {
        let mut values = vec![14.0; 5];
        for _ in 0..20 {
            values.extend([15.2, 14.8]);
        }
        assert_eq!(told(&values).len(), 1);
    }

    #[test]
    fn too_cold_and_then_too_hot_are_two_alarms() {
        let alarms = told(&[10.0, 10.0, 30.0, 30.0]);
        assert!(matches!(alarms[0].matter, Matter::TooLow { .. }) && alarms[0].over == Some(at(10)));
        assert!(matches!(alarms[1].matter, Matter::TooHigh { .. }) && alarms[1].raised == at(10));
    }

    #[test]
    fn silence_is_an_alarm_and_does_not_end_another() {
        let readings = [(0, 20.0), (5, 10.0), (60, 10.0)].map(|(m, value)| Reading { at: at(m), value });
        let range = Range { low: Some(15.0), high: None };
        let plan = Plan { zone: chrono_tz::UTC, rules: vec![Rule { season: None, hours: None, range }] };
        let alarms = alarms(&readings, &plan, Interval { from: at(0), until: Some(at(100)) }, &SETTINGS);
        let raised: Vec<_> = alarms.iter().map(|alarm| (alarm.matter, alarm.raised, alarm.over)).collect();
        let cold = Matter::TooLow { worst: 10.0 };
        assert_eq!(
            raised,
            [(cold, at(5), None), (Matter::Silent, at(35), Some(at(60))), (Matter::Silent, at(90), None),]
        );
    }

    proptest! {
        /// Alarms of one device never overlap in their matter, are raised no earlier than they began, and
        /// every stretch outside that is long enough is told by one.
        #[test]
        fn nothing_long_is_missed(values in prop::collection::vec(8.0..32.0_f64, 4..80)) {
            let alarms = told(&values);
            for alarm in &alarms {
                prop_assert!(alarm.since <= alarm.raised && alarm.over.is_none_or(|over| over > alarm.since));
            }
            for pair in alarms.windows(2) {
                prop_assert!(pair[0].over.is_some_and(|over| over <= pair[1].raised));
            }
            for start in 0..values.len().saturating_sub(3) {
                let run = &values[start..start + 4];
                if run.iter().all(|v| *v < 15.0) || run.iter().all(|v| *v > 25.0) {
                    let when = at(5 * i64::try_from(start + 3).unwrap());
                    prop_assert!(alarms.iter().any(|a| a.raised <= when && a.over.is_none_or(|over| over > when)));
                }
            }
        }
    }
}
