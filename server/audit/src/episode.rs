//! The life of one matter about one animal: it is raised once, gets worse or better, goes quiet, and
//! may return.
//!
//! A finding is computed afresh each time; people should hear of it once. Carry the episode of each
//! kind of finding from one look to the next, and tell people only of the changes.

use crate::terms::Day;
use serde::{Deserialize, Serialize};

/// How soon someone should look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// At the next round.
    Watch,
    /// Today.
    Act,
    /// Now.
    Urgent,
}

/// A matter that was raised and is not yet over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Episode {
    /// The day it began, as told when it was raised: with animal and kind it names the episode.
    pub since: Day,
    /// How it stands, or last stood.
    pub severity: Severity,
    /// The worst it has been.
    pub worst: Severity,
    /// Day from which nothing was found any more.
    pub quiet: Option<Day>,
}

/// What is found today, if anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sighting {
    /// The day it began, by today's reckoning.
    pub since: Day,
    /// How soon someone should look.
    pub severity: Severity,
}

/// What became of it today.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// Nothing new.
    None,
    /// It was raised.
    Raised,
    /// It is more pressing than before.
    Worse,
    /// It is less pressing than before.
    Better,
    /// It is no longer found; it may return.
    Quiet,
    /// It is found again: still the same episode.
    Returned,
    /// It has been quiet for long enough to be over.
    Over,
}

/// Days of quiet after which a matter is over: what is found later is a new one.
pub const QUIET_DAYS: i64 = 28;

/// Carries an episode on to `day`.
#[must_use]
pub fn follow(before: Option<Episode>, seen: Option<Sighting>, day: Day) -> (Option<Episode>, Change) {
    let over = |quiet: Day| (day - quiet).num_days() >= QUIET_DAYS;
    match (before, seen) {
        (None, None) => (None, Change::None),
        (None, Some(seen)) => (Some(raised(seen)), Change::Raised),
        (Some(Episode { quiet: Some(quiet), .. }), Some(seen)) if over(quiet) => {
            (Some(raised(seen)), Change::Raised)
        }
        (Some(Episode { quiet: Some(quiet), .. }), None) if over(quiet) => (None, Change::Over),
        (Some(episode @ Episode { quiet: Some(_), .. }), None) => (Some(episode), Change::None),
        (Some(episode), None) => (Some(Episode { quiet: Some(day), ..episode }), Change::Quiet),
        (Some(episode), Some(seen)) => {
            let change = match seen.severity.cmp(&episode.severity) {
                _ if episode.quiet.is_some() => Change::Returned,
                std::cmp::Ordering::Greater => Change::Worse,
                std::cmp::Ordering::Less => Change::Better,
                std::cmp::Ordering::Equal => Change::None,
            };
            let worst = episode.worst.max(seen.severity);
            (Some(Episode { severity: seen.severity, worst, quiet: None, ..episode }), change)
        }
    }
}

fn raised(seen: Sighting) -> Episode {
    Episode { since: seen.since, severity: seen.severity, worst: seen.severity, quiet: None }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;
    use proptest::prelude::*;

    fn day(number: u64) -> Day {
        Day::from_ymd_opt(2026, 3, 1).unwrap() + Days::new(number)
    }

    fn seen(severity: Severity) -> Option<Sighting> {
        Some(Sighting { since: day(0), severity })
    }

    #[test]
    fn a_life() {
        use Severity::{Act, Urgent, Watch};
        let mut episode = None;
        for (at, sighting, expected) in [
            (1, None, Change::None),
            (2, seen(Watch), Change::Raised),
            (3, seen(Watch), Change::None),
            (9, seen(Urgent), Change::Worse),
            (10, seen(Act), Change::Better),
            (17, None, Change::Quiet),
            (18, None, Change::None),
            (30, seen(Act), Change::Returned),
            (31, None, Change::Quiet),
            (59, None, Change::Over),
            (60, None, Change::None),
            (61, seen(Watch), Change::Raised),
            (62, None, Change::Quiet),
            (95, seen(Watch), Change::Raised),
        ] {
            let change;
            (episode, change) = follow(episode, sighting, day(at));
            assert_eq!(change, expected, "day {at}");
            if at == 31 {
                assert_eq!(episode.unwrap().worst, Urgent);
            }
        }
    }

    proptest! {
        /// People hear of it once: between two raisings it is always over or long quiet.
        #[test]
        fn raised_once(days in proptest::collection::vec(proptest::option::of(0u8..3), 1..200)) {
            let mut episode = None;
            let mut last_found: Option<u64> = None;
            for (number, found) in (0u64..).zip(days) {
                let severity = found.map(|level| [Severity::Watch, Severity::Act, Severity::Urgent][usize::from(level)]);
                let (next, change) = follow(episode, severity.and_then(seen), day(number));
                if change == Change::Raised
                    && let Some(last) = last_found
                {
                    prop_assert!(number - last > u64::try_from(QUIET_DAYS).unwrap());
                }
                if severity.is_some() {
                    last_found = Some(number);
                    prop_assert!(next.is_some_and(|episode| episode.quiet.is_none()));
                }
                episode = next;
            }
        }
    }
}
