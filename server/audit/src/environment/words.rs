//! An alarm of a house in words: what was read, since when, against what, and what to look at first.

use super::Range;
use super::alarm::{Alarm, Matter};
use crate::episode::Severity;
use crate::terms::Instant;
use crate::words::{Figure, IF_OVER, Words};
use chrono::TimeDelta;
use chrono_tz::Tz;

/// Names of the figures that say how far it went.
pub const LOWEST: &str = "lowest reading";
/// See [`LOWEST`].
pub const HIGHEST: &str = "highest reading";

/// What an alarm is about.
#[derive(Clone, Copy, Debug)]
pub struct Told<'a> {
    /// The device, and the house that it is in: `Burrow lamp in Burrow House`.
    pub name: &'a str,
    /// Unit of its readings (UCUM where there is one).
    pub unit: &'static str,
    /// What must be kept.
    pub range: Range,
    /// How far outside is far, in the unit.
    pub at_once_beyond: f64,
    /// For how long it may say nothing.
    pub may_be_silent: TimeDelta,
    /// Readings are looked at from here on: what was so by then may have been so before.
    pub known_from: Instant,
    /// How long ago that was, in whole days.
    pub known_days: i64,
    /// Zone of the site.
    pub zone: Tz,
}

impl Told<'_> {
    /// How soon to look: what is far outside cannot wait.
    #[must_use]
    pub fn severity(&self, alarm: &Alarm) -> Severity {
        let beyond = match alarm.matter {
            Matter::TooLow { worst } | Matter::TooHigh { worst } => self.range.beyond(worst).abs(),
            Matter::Silent => 0.0,
        };
        if beyond >= self.at_once_beyond && beyond > 0.0 { Severity::Urgent } else { Severity::Act }
    }

    /// An alarm that goes on.
    #[must_use]
    pub fn words(&self, alarm: &Alarm) -> Words {
        let (name, since) = (self.name, self.since(alarm.since));
        let (side, limit, worst, figure) = match alarm.matter {
            Matter::TooLow { worst } => ("below", self.range.low, worst, LOWEST),
            Matter::TooHigh { worst } => ("above", self.range.high, worst, HIGHEST),
            Matter::Silent => {
                let allowed = match self.may_be_silent.num_minutes() {
                    1 => "1 minute".to_owned(),
                    minutes => format!("{minutes} minutes"),
                };
                return Words {
                    seen: format!(
                        "{name} has sent no data {since}; it may be silent for {allowed}. Conditions there \
                         are not known.",
                    ),
                    look_first:
                        "The enclosure itself: a failure there often stops the device as well. Then power, \
                         battery and signal of the device."
                            .to_owned(),
                    figures: Vec::new(),
                };
            }
        };
        let limit = limit.map_or_else(|| "its range".to_owned(), |limit| self.with_unit(limit));
        Words {
            seen: format!("{name} has read {side} {limit} {since}: {} at the worst.", self.with_unit(worst)),
            look_first:
                "The animals: where they lie and how they breathe. Then heating, vents, doors and water, and \
                         the device beside a second one."
                    .to_owned(),
            figures: vec![Figure::new(figure, worst, self.unit)],
        }
    }

    fn with_unit(&self, value: f64) -> String {
        match self.unit {
            "" | "1" => format!("{value}"),
            unit => format!("{value} {}", unit.replace("Cel", "°C")),
        }
    }

    fn since(&self, at: Instant) -> String {
        if at <= self.known_from {
            format!("for {} days or longer", self.known_days)
        } else {
            format!("since {}", at.with_timezone(&self.zone).format("%H:%M on %Y-%m-%d"))
        }
    }
}

/// What to say of an open matter that is over: people settle it, not a computation.
#[must_use]
pub fn over(name: &str, silent: bool) -> Words {
    let seen = if silent {
        format!("{name} sends data again.")
    } else {
        format!(
            "{name} reads within its range \
            again."
        )
    };
    Words { seen, look_first: IF_OVER.to_owned(), figures: Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeZone;

    fn told() -> Told<'static> {
        Told {
            name: "Burrow lamp in Burrow House",
            unit: "Cel",
            range: Range { low: Some(20.0), high: Some(22.0) },
            at_once_beyond: 4.0,
            may_be_silent: TimeDelta::minutes(30),
            known_from: chrono::Utc.with_ymd_and_hms(2026, 2, 27, 6, 0, 0).unwrap(),
            known_days: 3,
            zone: chrono_tz::Europe::Berlin,
        }
    }

    fn alarm(matter: Matter) -> Alarm {
        let since = chrono::Utc.with_ymd_and_hms(2026, 3, 2, 3, 10, 0).unwrap();
        Alarm { matter, since, raised: since, over: None }
    }

    #[test]
    fn it_says_what_against_what_and_since_when_in_the_time_of_the_site() {
        let cold = alarm(Matter::TooLow { worst: 17.5 });
        assert_eq!(
            told().words(&cold).seen,
            "Burrow lamp in Burrow House has read below 20 °C since 04:10 on 2026-03-02: 17.5 °C at the worst."
        );
        let silent = told().words(&alarm(Matter::Silent)).seen;
        assert!(
            silent.starts_with("Burrow lamp in Burrow House has sent no data since 04:10 on 2026-03-02;"),
            "{silent}"
        );
    }

    #[test]
    fn what_is_far_outside_cannot_wait() {
        let told = told();
        assert_eq!(told.severity(&alarm(Matter::TooLow { worst: 16.1 })), Severity::Act);
        assert_eq!(told.severity(&alarm(Matter::TooLow { worst: 16.0 })), Severity::Urgent);
        assert_eq!(told.severity(&alarm(Matter::TooHigh { worst: 26.5 })), Severity::Urgent);
        assert_eq!(told.severity(&alarm(Matter::Silent)), Severity::Act);
    }

    #[test]
    fn what_was_so_before_anything_is_known_is_told_as_that() {
        let told = told();
        let old = Alarm { since: told.known_from, ..alarm(Matter::TooLow { worst: 17.5 }) };
        assert!(told.words(&old).seen.contains("for 3 days or longer"), "{}", told.words(&old).seen);
    }
}
