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

/// When one animal was under pressure.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Pressure {
    /// In order and apart.
    stretches: Vec<Stretch>,
    /// Where people have accepted what went on: what was before it began is no yardstick any more.
    usual_from: Option<Instant>,
}

impl Pressure {
    /// It was under pressure in the days that were now as of an instant; instants are told in order.
    pub(super) fn note(&mut self, as_of: Instant) {
        let more = now(as_of);
        match self.stretches.last_mut().filter(|last| more.from <= last.until) {
            Some(last) => last.until = more.until,
            None => self.stretches.push(more),
        }
    }

    /// People have accepted what is seen of it. Where it still was under pressure in the last `within` before,
    /// that is usual for it from now on.
    pub(super) fn accept(&mut self, at: Instant, within: TimeDelta) {
        if let Some(usual) = self.stretches.pop_if(|last| last.until >= at - within) {
            // Told at the end of the first days of now: it began within these.
            self.usual_from = Some((usual.from + TimeDelta::days(NOW_DAYS)).min(at));
        }
    }

    /// When it was first told to be under pressure, if it was until the last `within` before an instant.
    pub(super) fn since(&self, at: Instant, within: TimeDelta) -> Option<Instant> {
        let last = self.stretches.last().filter(|last| last.until >= at - within)?;
        Some(last.from + TimeDelta::days(NOW_DAYS))
    }

    /// The past that the days of now are compared with: newest first.
    pub(super) fn past(&self, as_of: Instant) -> Vec<Stretch> {
        let (mut until, mut left) = (now(as_of).from, TimeDelta::days(PAST_DAYS));
        let mut past = Vec::new();
        let mut take = |from: Option<Instant>, until: Instant| {
            let from = [from, self.usual_from].into_iter().flatten().fold(until - left, Instant::max);
            if from < until {
                past.push(Stretch { from, until });
                left -= until - from;
            }
            left > TimeDelta::zero()
        };
        for pressed in self.stretches.iter().rev() {
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
        for on in [60, 67, 74] {
            pressure.note(day(on));
        }
        // From day 39 to day 74.
        assert_eq!(pressure.past(day(105)), [stretch(74, 84), stretch(-35, 39)]);
        pressure.note(day(105));
        assert_eq!(pressure.past(day(105)), [stretch(74, 84), stretch(-35, 39)]);
        assert_eq!(pressure.past(day(70)), [stretch(-45, 39)]);
        assert_eq!(pressure.since(day(106), TimeDelta::days(7)), Some(day(105)));
        assert_eq!(pressure.since(day(120), TimeDelta::days(7)), None);
    }

    #[test]
    fn what_still_goes_on_when_people_accept_it_is_usual_and_what_was_over_is_not() {
        let mut pressure = Pressure::default();
        for on in [40, 100, 107] {
            pressure.note(day(on));
        }
        pressure.accept(day(110), TimeDelta::days(7));
        assert_eq!(pressure.past(day(131)), [stretch(100, 110)]);
        let before = pressure.clone();
        pressure.accept(day(110), TimeDelta::days(7));
        assert_eq!(pressure, before, "what ended long before stays left out");
    }
}
