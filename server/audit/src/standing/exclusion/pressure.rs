//! When an animal was under pressure: those days are no yardstick for it.
//!
//! An animal that has been kept off its food for three months was kept off it in the past, too. Held against that
//! past, nothing would be remarkable any more, and the worst cases would be the ones that are told as over. Its
//! past is therefore what was seen of it when it was not under pressure, however long ago that is; where it never
//! was without, its companions are the yardstick.

use super::record::{NOW_DAYS, PAST_DAYS};
use super::seen::Stretch;
use crate::terms::Instant;
use chrono::TimeDelta;

/// The days of now, as of an instant.
pub(super) fn now(as_of: Instant) -> Stretch {
    Stretch { from: as_of - TimeDelta::days(NOW_DAYS), until: as_of }
}

/// Stretches in which one animal was under pressure, in order and apart.
#[derive(Debug, Default)]
pub(super) struct Pressure(Vec<Stretch>);

impl Pressure {
    /// It was under pressure in a stretch; stretches are told in order.
    pub(super) fn note(&mut self, more: Stretch) {
        match self.0.last_mut().filter(|last| more.from <= last.until) {
            Some(last) => last.until = more.until,
            None => self.0.push(more),
        }
    }

    /// Since when it is under pressure, if it was until an instant.
    pub(super) fn since(&self, at: Instant) -> Option<Instant> {
        self.0.last().filter(|last| last.until >= at).map(|last| last.from)
    }

    /// The past that the days of now are compared with: newest first.
    pub(super) fn past(&self, as_of: Instant) -> Vec<Stretch> {
        let (mut until, mut left) = (now(as_of).from, TimeDelta::days(PAST_DAYS));
        let mut past = Vec::new();
        let mut take = |from: Option<Instant>, until: Instant| {
            let from = from.map_or(until - left, |from| from.max(until - left));
            if from < until {
                past.push(Stretch { from, until });
                left -= until - from;
            }
            left > TimeDelta::zero()
        };
        for pressed in self.0.iter().rev() {
            if pressed.until < until && !take(Some(pressed.until), until) {
                return past;
            }
            until = until.min(pressed.from);
        }
        take(None, until);
        past
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(day: i64) -> Instant {
        Instant::UNIX_EPOCH + TimeDelta::days(20_000 + day)
    }

    fn stretch(from: i64, until: i64) -> Stretch {
        Stretch { from: day(from), until: day(until) }
    }

    #[test]
    fn without_pressure_the_past_is_the_days_before_now() {
        assert_eq!(Pressure::default().past(day(105)), [stretch(0, 84)]);
    }

    #[test]
    fn days_under_pressure_are_left_out_and_others_take_their_place() {
        let mut pressure = Pressure::default();
        for on in [39, 46, 53, 60, 67] {
            pressure.note(stretch(on, on + 7));
        }
        // From day 39 to day 74.
        assert_eq!(pressure.past(day(105)), [stretch(74, 84), stretch(-35, 39)]);
        pressure.note(stretch(84, 105));
        assert_eq!(pressure.past(day(105)), [stretch(74, 84), stretch(-35, 39)]);
        assert_eq!(pressure.past(day(70)), [stretch(-45, 39)]);
        assert_eq!((pressure.since(day(105)), pressure.since(day(106))), (Some(day(84)), None));
    }
}
