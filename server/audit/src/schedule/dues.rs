//! What became of each due day of one animal.

use super::check::{Calendar, Check, Rhythm};
use crate::terms::{Day, RecordId, Span};
use chrono::Days;
use serde::{Deserialize, Serialize};

/// A record by which a check was done, such as a weight for the check 'weigh'.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Done {
    /// The record.
    pub record: RecordId,
    /// The site's day on which it was done.
    pub day: Day,
}

/// One due day and what became of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Due {
    /// The day.
    pub day: Day,
    /// What became of it, as of the day asked about.
    pub state: State,
}

/// What became of a due day. Days late are counted from the due day, not from the end of grace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// It lies ahead.
    NotYet,
    /// It has come and grace is not over.
    Open,
    /// Grace is over and nothing was done.
    Overdue {
        /// Days since the due day.
        days: i64,
    },
    /// Done early, on the day or within grace.
    InTime(Done),
    /// Done after grace.
    Late {
        /// By which record.
        done: Done,
        /// Days from the due day.
        days: i64,
    },
    /// Not done before the next due day, before the animal left or paused, or before the check ended.
    Missed,
    /// The animal left, died or paused, or the check ended, before grace was over: nobody's fault.
    Lapsed,
}

/// Every due day of one animal up to the day asked about, and the next one, in order.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dues(Vec<Due>);

/// How well a check was kept over a stretch of days. `due` is the sum of the other four; due days
/// ahead and lapsed ones count nowhere.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Coverage {
    /// Due days that had come.
    pub due: usize,
    /// Done early, on the day or within grace.
    pub in_time: usize,
    /// Done after grace.
    pub late: usize,
    /// Never done.
    pub missed: usize,
    /// Still to be done, within grace or overdue.
    pub open: usize,
}

impl Calendar<'_> {
    /// The due days of one animal as of the day `as_of`, which the calendar must reach.
    ///
    /// `active` holds the days on which the animal was here and not paused (hibernation), in order
    /// and apart from each other; `done` the records by which it was done, in any order. What happened
    /// after `as_of` is ignored.
    ///
    /// A record counts for one due day only. In a fixed rhythm it is the nearest one (the later on a
    /// tie), but never the next while grace for the last runs. With "n days after last done", any
    /// record moves the due day, and one in the second half of the wait counts as having answered it.
    #[must_use]
    pub fn dues(&self, active: &[Span], done: &[Done], as_of: Day) -> Dues {
        let mut past: Vec<Done> = done.iter().copied().filter(|done| done.day <= as_of).collect();
        past.sort_by_key(|done| (done.day, done.record));
        let spans: Vec<Span> = active.iter().filter_map(|span| self.check.within(*span)).collect();
        Dues(match self.check.rhythm {
            Rhythm::Fixed(_) => self.fixed(&spans, &past, as_of),
            Rhythm::AfterLast { start, days } => {
                after_last(self.check, start, days.get(), &spans, &past, as_of)
            }
        })
    }

    fn fixed(&self, spans: &[Span], done: &[Done], as_of: Day) -> Vec<Due> {
        let mut spans = spans.iter().peekable();
        let mut applying = self
            .slots
            .iter()
            .filter_map(|slot| {
                while spans.next_if(|span| span.until.is_some_and(|until| until <= slot.due)).is_some() {}
                spans.peek().filter(|span| span.contains(slot.due)).map(|span| (*slot, **span))
            })
            .peekable();
        let mut dues = Vec::new();
        let mut place = 0;
        while let Some((slot, span)) = applying.next() {
            let next = applying.peek().map(|(next, _)| *next);
            let closes = [next.map(|next| next.opens), span.until].into_iter().flatten().min();
            place += done[place..].partition_point(|done| done.day < slot.opens);
            let answer = done.get(place).filter(|done| closes.is_none_or(|closes| done.day < closes));
            let state = match answer {
                Some(done) if done.day <= slot.in_time => State::InTime(*done),
                Some(done) => State::Late { done: *done, days: (done.day - slot.due).num_days() },
                None => {
                    let superseded = next.is_some_and(|next| {
                        next.due <= as_of || done[place..].first().is_some_and(|done| done.day >= next.opens)
                    });
                    undone(slot.due, slot.in_time, span.until, superseded, as_of)
                }
            };
            dues.push(Due { day: slot.due, state });
            if slot.due > as_of {
                break;
            }
        }
        dues
    }
}

fn after_last(check: &Check, start: Day, days: u16, spans: &[Span], done: &[Done], as_of: Day) -> Vec<Due> {
    let wait = Days::new(days.into());
    let mut done = done.iter().peekable();
    let mut dues = Vec::new();
    let mut due = start;
    for span in spans {
        while let Some(before) = done.next_if(|done| done.day < span.from) {
            due = due.max(before.day + wait);
        }
        due = due.max(span.from);
        while let Some(answer) = done.next_if(|done| span.contains(done.day)) {
            let in_time = due + Days::new(check.grace_days.into());
            if answer.day >= due - Days::new(u64::from(days) / 2) {
                let late = (answer.day - due).num_days();
                let state = if answer.day <= in_time {
                    State::InTime(*answer)
                } else {
                    State::Late { done: *answer, days: late }
                };
                dues.push(Due { day: due, state });
            }
            due = answer.day + wait;
        }
        if span.contains(due) {
            let in_time = due + Days::new(check.grace_days.into());
            dues.push(Due { day: due, state: undone(due, in_time, span.until, false, as_of) });
            if due > as_of {
                break;
            }
        }
    }
    dues
}

/// The state of a due day for which nothing was done. `left` is the first day on which the animal no
/// longer was held to it.
fn undone(due: Day, in_time: Day, left: Option<Day>, superseded: bool, as_of: Day) -> State {
    let left = left.filter(|left| *left <= as_of);
    if due > as_of {
        State::NotYet
    } else if left.is_some_and(|left| left <= in_time) {
        State::Lapsed
    } else if superseded || left.is_some() {
        State::Missed
    } else if as_of <= in_time {
        State::Open
    } else {
        State::Overdue { days: (as_of - due).num_days() }
    }
}

impl Dues {
    /// Every due day up to the day asked about, and the next one.
    #[must_use]
    pub fn all(&self) -> &[Due] {
        &self.0
    }

    /// The due day that is overdue, if one is: an animal never has two, because the next due day
    /// turns the last into a missed one.
    #[must_use]
    pub fn overdue(&self) -> Option<Due> {
        self.0.iter().rev().find(|due| matches!(due.state, State::Overdue { .. })).copied()
    }

    /// The day by which it must next be done: the one that is open or overdue, else the next ahead.
    #[must_use]
    pub fn next(&self) -> Option<Due> {
        self.0
            .iter()
            .find(|due| matches!(due.state, State::Open | State::Overdue { .. } | State::NotYet))
            .copied()
    }

    /// How well the check was kept on the due days inside `span`.
    #[must_use]
    pub fn coverage(&self, span: Span) -> Coverage {
        let mut told = Coverage::default();
        for due in self.0.iter().filter(|due| span.contains(due.day)) {
            match due.state {
                State::NotYet | State::Lapsed => continue,
                State::InTime(_) => told.in_time += 1,
                State::Late { .. } => told.late += 1,
                State::Missed => told.missed += 1,
                State::Open | State::Overdue { .. } => told.open += 1,
            }
            told.due += 1;
        }
        told
    }
}

#[cfg(test)]
mod tests {
    use super::super::Recurrence;
    use super::*;
    use proptest::prelude::*;
    use std::num::NonZeroU16;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn mondays(grace_days: u16) -> Check {
        let start = day("2026-03-02");
        let rhythm = Rhythm::Fixed(Recurrence::parse("FREQ=WEEKLY;BYDAY=MO", start).unwrap());
        Check { rhythm, end: None, grace_days }
    }

    fn after(days: u16) -> Rhythm {
        Rhythm::AfterLast { start: day("2026-03-02"), days: NonZeroU16::new(days).unwrap() }
    }

    fn every(days: u16, grace_days: u16) -> Check {
        Check { rhythm: after(days), end: None, grace_days }
    }

    fn done(days: &[&str]) -> Vec<Done> {
        (1u128..).zip(days).map(|(id, text)| Done { record: RecordId(id), day: day(text) }).collect()
    }

    const ALWAYS: Span = Span { from: Day::MIN, until: None };

    /// `03-09 late 3` and so on, without the year.
    fn told(check: &Check, active: &[Span], records: &[&str], as_of: &str) -> String {
        let calendar = check.calendar(Day::MIN, day(as_of)).unwrap();
        let lines: Vec<String> = calendar
            .dues(active, &done(records), day(as_of))
            .all()
            .iter()
            .map(|due| {
                let state = match due.state {
                    State::NotYet => "ahead".to_owned(),
                    State::Open => "open".to_owned(),
                    State::Overdue { days } => format!("overdue {days}"),
                    State::InTime(done) => format!("by {}", done.record.0),
                    State::Late { done, days } => format!("by {} late {days}", done.record.0),
                    State::Missed => "missed".to_owned(),
                    State::Lapsed => "lapsed".to_owned(),
                };
                format!("{} {state}", due.day.format("%m-%d"))
            })
            .collect();
        lines.join(", ")
    }

    #[test]
    fn a_week_goes_by() {
        let check = mondays(1);
        for (as_of, expected) in [
            ("2026-03-01", "03-02 ahead"),
            ("2026-03-02", "03-02 open, 03-09 ahead"),
            ("2026-03-03", "03-02 open, 03-09 ahead"),
            ("2026-03-04", "03-02 overdue 2, 03-09 ahead"),
            ("2026-03-08", "03-02 overdue 6, 03-09 ahead"),
            ("2026-03-09", "03-02 missed, 03-09 open, 03-16 ahead"),
        ] {
            assert_eq!(told(&check, &[ALWAYS], &[], as_of), expected, "{as_of}");
        }
    }

    #[test]
    fn a_record_counts_for_the_nearest_due_day() {
        let check = mondays(1);
        let on = |record| told(&check, &[ALWAYS], &[record], "2026-03-09");
        assert_eq!(on("2026-03-01"), "03-02 by 1, 03-09 open, 03-16 ahead");
        assert_eq!(on("2026-03-03"), "03-02 by 1, 03-09 open, 03-16 ahead");
        assert_eq!(on("2026-03-05"), "03-02 by 1 late 3, 03-09 open, 03-16 ahead");
        assert_eq!(on("2026-03-06"), "03-02 missed, 03-09 by 1, 03-16 ahead");
        // Always a day early is never late, even after a week was left out.
        assert_eq!(
            told(&check, &[ALWAYS], &["2026-03-01", "2026-03-15", "2026-03-22"], "2026-03-22"),
            "03-02 by 1, 03-09 missed, 03-16 by 2, 03-23 by 3",
        );
    }

    #[test]
    fn grace_is_never_cut_short_but_ends_before_the_next_due_day() {
        let check = mondays(5);
        assert_eq!(told(&check, &[ALWAYS], &["2026-03-07"], "2026-03-08"), "03-02 by 1, 03-09 ahead");
        assert_eq!(told(&mondays(30), &[ALWAYS], &[], "2026-03-09"), "03-02 missed, 03-09 open, 03-16 ahead");
    }

    #[test]
    fn an_early_record_ends_what_is_overdue() {
        assert_eq!(told(&mondays(0), &[ALWAYS], &["2026-03-07"], "2026-03-07"), "03-02 missed, 03-09 by 1");
    }

    #[test]
    fn nobody_is_blamed_for_an_animal_that_is_gone() {
        let gone = |until| [Span { from: day("2026-03-01"), until: Some(day(until)) }];
        let check = mondays(1);
        assert_eq!(told(&check, &gone("2026-03-03"), &[], "2026-04-01"), "03-02 lapsed");
        assert_eq!(told(&check, &gone("2026-03-05"), &[], "2026-04-01"), "03-02 missed");
        assert_eq!(told(&check, &gone("2026-03-02"), &[], "2026-04-01"), "");
    }

    #[test]
    fn a_sleeping_animal_is_not_weighed() {
        let awake = [
            Span { from: day("2026-03-01"), until: Some(day("2026-03-10")) },
            Span { from: day("2026-03-20"), until: None },
        ];
        assert_eq!(
            told(&mondays(1), &awake, &["2026-03-12"], "2026-03-24"),
            "03-02 missed, 03-09 lapsed, 03-23 open, 03-30 ahead"
        );
        assert_eq!(told(&every(7, 1), &awake, &["2026-03-03"], "2026-03-21"), "03-02 by 1, 03-20 open");
    }

    #[test]
    fn after_last_counts_from_the_record() {
        let check = every(30, 3);
        assert_eq!(told(&check, &[ALWAYS], &[], "2026-03-08"), "03-02 overdue 6");
        assert_eq!(told(&check, &[ALWAYS], &["2026-03-08"], "2026-03-08"), "03-02 by 1 late 6, 04-07 ahead");
        // Weighed again soon after: that only moves the due day.
        assert_eq!(
            told(&check, &[ALWAYS], &["2026-03-02", "2026-03-09", "2026-03-09"], "2026-05-01"),
            "03-02 by 1, 04-08 overdue 23"
        );
    }

    #[test]
    fn an_ended_check_leaves_nothing_open() {
        let check = Check { end: Some(day("2026-03-09")), ..mondays(1) };
        assert_eq!(told(&check, &[ALWAYS], &[], "2026-04-01"), "03-02 missed, 03-09 lapsed");
    }

    #[test]
    fn asks_for_what_is_open_before_what_is_ahead() {
        let check = mondays(1);
        let calendar = check.calendar(Day::MIN, day("2026-03-11")).unwrap();
        let dues = calendar.dues(&[ALWAYS], &done(&["2026-03-02"]), day("2026-03-11"));
        assert_eq!(dues.overdue().map(|due| due.day), Some(day("2026-03-09")));
        assert_eq!(dues.next().map(|due| due.day), Some(day("2026-03-09")));
        let march = Span { from: day("2026-03-01"), until: Some(day("2026-04-01")) };
        assert_eq!(dues.coverage(march), Coverage { due: 2, in_time: 1, open: 1, ..Coverage::default() });
    }

    #[test]
    fn a_rule_with_too_many_days_is_refused() {
        let start = day("1900-01-01");
        let rhythm = Rhythm::Fixed(Recurrence::parse("FREQ=DAILY", start).unwrap());
        let check = Check { rhythm, end: None, grace_days: 0 };
        assert!(check.calendar(start, day("1950-01-01")).is_ok());
        assert!(check.calendar(start, day("2026-01-01")).is_err());
        // Not by when it began: by how many are asked for.
        assert!(check.calendar(day("2024-01-01"), day("2026-01-01")).is_ok());
    }

    /// Some check and records around it.
    fn anything() -> impl Strategy<Value = (Check, Vec<Span>, Vec<Done>)> {
        let rhythm = prop_oneof![
            Just("FREQ=DAILY"),
            Just("FREQ=WEEKLY;BYDAY=MO,TH"),
            Just("FREQ=MONTHLY;BYMONTHDAY=-1"),
            Just("FREQ=DAILY;INTERVAL=10;COUNT=5"),
        ]
        .prop_map(|rule| Rhythm::Fixed(Recurrence::parse(rule, day("2026-03-02")).unwrap()))
        .boxed()
        .prop_union((1u16..40).prop_map(after).boxed());
        let records = proptest::collection::vec(0u64..120, 0..25).prop_map(|days| {
            (1..)
                .zip(days)
                .map(|(id, after)| Done { record: RecordId(id), day: day("2026-02-20") + Days::new(after) })
                .collect()
        });
        let active = (0u64..40, 1u64..40, 0u64..20).prop_map(|(first, long, pause)| {
            let from = day("2026-02-25") + Days::new(first);
            let until = from + Days::new(long);
            vec![Span { from, until: Some(until) }, Span { from: until + Days::new(pause), until: None }]
        });
        (rhythm, 0u16..10, proptest::option::of(20u64..100), active, records).prop_map(
            |(rhythm, grace_days, end, active, records)| {
                let end = end.map(|after| day("2026-03-02") + Days::new(after));
                (Check { rhythm, end, grace_days }, active, records)
            },
        )
    }

    proptest! {
        #[test]
        fn a_record_never_counts_twice((check, active, records) in anything(), after in 0u64..130) {
            let as_of = day("2026-02-20") + Days::new(after);
            let calendar = check.calendar(Day::MIN, as_of).unwrap();
            let dues = calendar.dues(&active, &records, as_of);
            let mut used: Vec<RecordId> = dues.all().iter().filter_map(|due| match due.state {
                State::InTime(done) | State::Late { done, .. } => Some(done.record),
                _ => None,
            }).collect();
            let answers = used.len();
            used.sort();
            used.dedup();
            prop_assert_eq!(used.len(), answers);
            prop_assert!(dues.all().is_sorted_by(|a, b| a.day < b.day));
            prop_assert!(dues.all().iter().filter(|due| due.state == State::NotYet).count() <= 1);
            let waiting = |due: &&Due| matches!(due.state, State::Open | State::Overdue { .. });
            prop_assert!(dues.all().iter().filter(waiting).count() <= 1);
        }

        #[test]
        fn what_is_settled_stays_settled((check, active, records) in anything(), after in 0u64..120) {
            let today = day("2026-02-20") + Days::new(after);
            let tomorrow = today + Days::new(1);
            let calendar = check.calendar(Day::MIN, tomorrow).unwrap();
            let (now, then) = (calendar.dues(&active, &records, today), calendar.dues(&active, &records, tomorrow));
            for due in now.all() {
                if !matches!(due.state, State::NotYet | State::Open | State::Overdue { .. }) {
                    prop_assert!(then.all().contains(due), "{due:?} became {:?}", then.all());
                }
            }
        }

        /// What is asked about a stretch does not depend on what is left out before it and after it.
        #[test]
        fn a_stretch_is_told_as_within_the_whole(
            (check, active, records) in anything(), after in 20u64..130, first in 0u64..60, long in 0u64..60,
        ) {
            let as_of = day("2026-02-20") + Days::new(after);
            let from = day("2026-02-20") + Days::new(first);
            let until = (from + Days::new(long)).min(as_of);
            let within: Vec<Span> = active
                .iter()
                .map(|span| Span { from: span.from.max(from), until: span.until })
                .filter(|span| span.until.is_none_or(|until| span.from < until))
                .collect();
            let told = |calendar: &Calendar<'_>| {
                let dues = calendar.dues(&within, &records, as_of);
                let inside = |due: &&Due| due.day >= from && due.day < until;
                dues.all().iter().filter(inside).copied().collect::<Vec<_>>()
            };
            let whole = check.calendar(Day::MIN, as_of).unwrap();
            prop_assert_eq!(told(&check.calendar(from, until).unwrap()), told(&whole));
        }

        #[test]
        fn coverage_adds_up((check, active, records) in anything(), after in 0u64..130, cut in 0u64..130) {
            let as_of = day("2026-02-20") + Days::new(after);
            let cut = day("2026-02-20") + Days::new(cut);
            let calendar = check.calendar(Day::MIN, as_of).unwrap();
            let dues = calendar.dues(&active, &records, as_of);
            let whole = dues.coverage(ALWAYS);
            let before = dues.coverage(Span { from: Day::MIN, until: Some(cut) });
            let rest = dues.coverage(Span { from: cut, until: None });
            prop_assert_eq!(whole.due, before.due + rest.due);
            prop_assert_eq!(whole.due, whole.in_time + whole.late + whole.missed + whole.open);
        }
    }
}
