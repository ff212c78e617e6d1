//! A check: its rhythm, its life and its grace; and the calendar of its due days.

use super::recurrence::{MAX_DUE_DAYS, Recurrence, RuleError};
use crate::terms::{Day, Span};
use chrono::Days;
use std::num::NonZeroU16;

/// When a check comes due again. The two ways differ once something was done late: store which.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Rhythm {
    /// On the days of a rule, whenever it was done before.
    Fixed(Recurrence),
    /// Some days after it was last done.
    AfterLast {
        /// First day on which it is due.
        start: Day,
        /// Days from being done to being due again.
        days: NonZeroU16,
    },
}

/// Something that must be done again and again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// When it comes due again.
    pub rhythm: Rhythm,
    /// Last day on which it can be due; none if it runs on.
    pub end: Option<Day>,
    /// Days after the due day on which it still counts as done in time.
    pub grace_days: u16,
}

/// The due days of a check up to some day, worked out once for all the animals it applies to.
#[derive(Clone, Debug)]
pub struct Calendar<'a> {
    pub(super) check: &'a Check,
    pub(super) slots: Vec<Slot>,
}

/// One due day of a fixed rhythm with the days that count for it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slot {
    pub(super) due: Day,
    /// First day on which doing it counts for this due day.
    pub(super) opens: Day,
    /// Last day on which doing it is in time.
    pub(super) in_time: Day,
}

impl Check {
    /// First day on which it can be due.
    #[must_use]
    pub fn start(&self) -> Day {
        match &self.rhythm {
            Rhythm::Fixed(recurrence) => recurrence.start(),
            Rhythm::AfterLast { start, .. } => *start,
        }
    }

    /// The due days from `from` up to `horizon`, the last one before and the first one after them. What it costs
    /// depends on how far the two are apart, and not on when the check began.
    ///
    /// # Errors
    /// [`RuleError::TooMany`] beyond [`MAX_DUE_DAYS`].
    pub fn calendar(&self, from: Day, horizon: Day) -> Result<Calendar<'_>, RuleError> {
        let mut days: Vec<Day> = Vec::new();
        if let Rhythm::Fixed(recurrence) = &self.rhythm {
            let last = self.end.unwrap_or(Day::MAX);
            for day in recurrence.days_about(from) {
                if day > last {
                    break;
                }
                if days.len() > MAX_DUE_DAYS {
                    return Err(RuleError::TooMany);
                }
                // Of those before, the last says from when on doing it counts for the first.
                if day < from {
                    days.clear();
                }
                days.push(day);
                if day > horizon {
                    break;
                }
            }
        }
        Ok(Calendar { check: self, slots: self.slots(&days) })
    }

    /// A day counts for the due day it is nearest to, except that grace is never cut short: a slot
    /// opens half-way from the due day before it, or when that one's grace is over if that is later.
    fn slots(&self, days: &[Day]) -> Vec<Slot> {
        let grace = |due: Day, next: Option<&Day>| {
            let last = due + Days::new(self.grace_days.into());
            next.map_or(last, |next| last.min(*next - Days::new(1)))
        };
        let mut slots: Vec<Slot> = Vec::with_capacity(days.len());
        for (place, &due) in days.iter().enumerate() {
            let in_time = grace(due, days.get(place + 1));
            let half_before = |other: Day| due - Days::new((due - other).num_days().unsigned_abs() / 2);
            let opens = match slots.last() {
                Some(before) => half_before(before.due).max(before.in_time + Days::new(1)),
                // Nothing came before the first one; it opens as early as it would in its own rhythm.
                None => days.get(1).map_or(due, |&next| half_before(due - (next - due))),
            };
            slots.push(Slot { due, opens, in_time });
        }
        slots
    }

    /// The days on which an animal that is present during `span` is held to this check.
    pub(super) fn within(&self, span: Span) -> Option<Span> {
        let end = self.end.and_then(|end| end.checked_add_days(Days::new(1)));
        let until = match (span.until, end) {
            (Some(left), Some(end)) => Some(left.min(end)),
            (left, end) => left.or(end),
        };
        let from = span.from.max(self.start());
        until.is_none_or(|until| from < until).then_some(Span { from, until })
    }
}
