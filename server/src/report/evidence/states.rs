//! What goes on over days, as evidence: asked at the beginning, at each change and at the end.

use super::Piece;
use crate::model::standard::Key;
use chrono::NaiveDate;
use holt_audit::compliance::{Evidence, Shows};
use uuid::Uuid;

/// Days on which something went on, both included; to no end where there is none.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub(super) from: NaiveDate,
    pub(super) last: Option<NaiveDate>,
    pub(super) record: Uuid,
}

impl Stretch {
    fn covers(&self, day: NaiveDate) -> bool {
        self.from <= day && self.last.is_none_or(|last| day <= last)
    }
}

/// What stretches show of a subject from one day to another. Nothing, where there is no stretch until the last day:
/// that is want of evidence and not evidence to the contrary.
pub(super) fn pieces(
    subject: Key,
    (first, last): (NaiveDate, NaiveDate),
    stretches: &[Stretch],
    what: &str,
) -> Vec<Piece> {
    if stretches.iter().all(|stretch| stretch.from > last) {
        return Vec::new();
    }
    let changes = stretches.iter().flat_map(|one| [Some(one.from), one.last.and_then(|day| day.succ_opt())]);
    let mut days: Vec<NaiveDate> = changes.flatten().filter(|day| (first..=last).contains(day)).collect();
    days.extend([first, last]);
    days.sort_unstable();
    days.dedup();
    let piece = |day: NaiveDate| {
        let (shows, record) = match stretches.iter().rev().find(|stretch| stretch.covers(day)) {
            Some(stretch) => (Shows::Met, stretch.record),
            None => missing(stretches, day, what)?,
        };
        Some(Evidence { subject, day, shows, record: Some(record) })
    };
    days.into_iter().filter_map(piece).collect()
}

/// Why nothing goes on on a day, by the stretch before, or else by the one that came later.
fn missing(stretches: &[Stretch], day: NaiveDate, what: &str) -> Option<(Shows, Uuid)> {
    let ended = |stretch: &&Stretch| stretch.last.is_some_and(|last| last < day);
    if let Some(before) = stretches.iter().filter(ended).max_by_key(|stretch| stretch.last) {
        let since = before.last?;
        return Some((Shows::Short(format!("no {what} after {since}")), before.record));
    }
    let later = stretches.iter().min_by_key(|stretch| stretch.from)?;
    Some((Shows::Short(format!("no {what} before {}", later.from)), later.record))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::standard::SubjectKind;

    fn day(n: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, n).unwrap()
    }

    fn told(stretches: &[(u32, Option<u32>)]) -> Vec<(u32, String)> {
        use chrono::Datelike;
        let subject = Key { kind: SubjectKind::Animal, id: Uuid::nil() };
        let stretch = |&(from, last): &(u32, Option<u32>)| Stretch {
            from: day(from),
            last: last.map(day),
            record: Uuid::nil(),
        };
        let stretches: Vec<Stretch> = stretches.iter().map(stretch).collect();
        let pieces = pieces(subject, (day(10), day(20)), &stretches, "mark in force");
        let say = |shows| if let Shows::Short(why) = shows { why } else { "met".to_owned() };
        pieces.into_iter().map(|piece| (piece.day.day(), say(piece.shows))).collect()
    }

    #[test]
    fn a_state_is_asked_at_the_beginning_at_each_change_and_at_the_end() {
        let is = |n: u32, what: &str| (n, what.to_owned());
        assert_eq!(told(&[(1, None)]), [is(10, "met"), is(20, "met")]);
        assert_eq!(
            told(&[(1, Some(12)), (15, None)]),
            [is(10, "met"), is(13, "no mark in force after 2026-03-12"), is(15, "met"), is(20, "met")]
        );
        assert_eq!(
            told(&[(15, Some(20))]),
            [is(10, "no mark in force before 2026-03-15"), is(15, "met"), is(20, "met")]
        );
        let ended = "no mark in force after 2026-03-02";
        assert_eq!(told(&[(1, Some(2))]), [is(10, ended), is(20, ended)]);
    }

    #[test]
    fn what_never_was_and_what_comes_later_is_no_evidence() {
        assert_eq!(told(&[]), []);
        assert_eq!(told(&[(21, None)]), []);
    }
}
