//! What would have been raised, and when, had animals been watched all along: to see what other
//! thresholds would have meant before they are set.

use crate::companions::{self, Cause};
use crate::episode::{self, Change, Episode, Sighting};
use crate::terms::{Instant, RecordId};
use crate::trend::{Finding, Matter, Settings, Subject, Trend};
use crate::zone;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Something that people would have been told.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// When they would have been told.
    pub at: Instant,
    /// Which of the animals, by the number it was given; none for the group as one.
    pub member: Option<usize>,
    /// What it is about.
    pub matter: Matter,
    /// What became of it then.
    pub change: Change,
    /// What was found; none once it is quiet or over.
    pub seen: Option<Sighting>,
    /// The records that it was found by, oldest first; none for a group, whose records are its members'.
    pub records: Vec<RecordId>,
}

/// Watches the members of a group ([`companions::watch`]) at each of the instants, given in order, and
/// tells every change: of each, and of the group as one where it loses as a whole. `known` says who was a member at an instant, each by a number of its own, and what
/// was known of it: leave out what was recorded or worked out only later. Give one member to replay an
/// animal by itself, or several that do not live together one after the other.
pub fn replay<'a>(
    instants: impl IntoIterator<Item = Instant>,
    mut known: impl FnMut(Instant) -> Vec<(usize, Subject<'a>)>,
    settings: &Settings,
) -> Vec<Event> {
    let mut events = Vec::new();
    let mut carried: BTreeMap<(Option<usize>, Matter), Episode> = BTreeMap::new();
    // What is told of an animal already goes on being told of it, also where its group loses as a whole.
    let mut carried_on: BTreeSet<(usize, Matter)> = BTreeSet::new();
    for at in instants {
        let (members, subjects): (Vec<usize>, Vec<Subject<'a>>) = known(at).into_iter().unzip();
        let Some(zone) = subjects.first().map(|subject| subject.zone) else { continue };
        let told = companions::watch(&subjects, at, settings);
        let mut carry = |member, matter, seen: Option<Sighting>, records: &[RecordId]| {
            let before = carried.remove(&(member, matter));
            let (after, change) = episode::follow(before, seen, zone::day_of(zone, at));
            carried.extend(after.map(|episode| ((member, matter), episode)));
            if change != Change::None {
                events.push(Event { at, member, matter, change, seen, records: records.to_vec() });
            }
            after.is_some()
        };
        let whole = told.whole.filter(|whole| whole.cause == Cause::Loss);
        let seen = whole.map(|whole| Sighting { since: whole.since, severity: whole.severity(settings) });
        carry(None, Matter::Weight, seen, &[]);
        for (member, trend) in members.into_iter().zip(&told.each) {
            for matter in [Matter::Weight, Matter::Scale] {
                let open = carried_on.contains(&(member, matter));
                let finding = found(trend, matter).filter(|finding| {
                    open || told.whole.is_none_or(|whole| !whole.covers(finding, settings))
                });
                let seen =
                    finding.map(|finding| Sighting { since: finding.since, severity: finding.severity });
                let records = finding.map_or(&[][..], |finding| &finding.records);
                if carry(Some(member), matter, seen, records) {
                    carried_on.insert((member, matter));
                } else {
                    carried_on.remove(&(member, matter));
                }
            }
        }
    }
    events
}

fn found(trend: &Trend, matter: Matter) -> Option<&Finding> {
    trend.findings.iter().find(|finding| finding.evidence.matter() == matter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Reading;
    use crate::terms::{Mass, RecordId};
    use chrono::{TimeDelta, TimeZone, Utc};
    use chrono_tz::Tz;

    fn at(week: usize) -> Instant {
        Utc.with_ymd_and_hms(2024, 1, 1, 8, 0, 0).unwrap() + TimeDelta::weeks(i64::try_from(week).unwrap())
    }

    /// A year that holds, then a loss over twelve weeks, then recovery.
    fn readings() -> Vec<Reading> {
        let lost = |week: usize| match week {
            0..52 => 0.0,
            52..64 => 0.012 * (week - 51) as f64,
            _ => 0.0,
        };
        (0..90)
            .map(|week| Reading {
                record: RecordId(week as u128),
                at: at(week),
                mass: Some(Mass::from_grams(1000.0 * (1.0 - lost(week)) + (week * 5 % 7) as f64)),
                scale: None,
                doubtful: false,
            })
            .collect()
    }

    #[test]
    fn one_loss_is_one_matter_from_its_raising_to_its_end() {
        let readings = readings();
        let told =
            replay((0..90).map(at), |_| vec![(7, Subject::new(&readings, Tz::UTC))], &Settings::default());
        let changes: Vec<Change> = told.iter().map(|event| event.change).collect();
        assert_eq!(changes.first(), Some(&Change::Raised));
        assert_eq!(changes.iter().filter(|change| **change == Change::Raised).count(), 1);
        assert_eq!(changes[changes.len() - 2..], [Change::Quiet, Change::Over]);
        assert!((at(53)..at(62)).contains(&told[0].at), "{told:?}");
        let last = told[0].records.last().copied();
        assert_eq!(last.map(|record| at(usize::try_from(record.0).unwrap())), Some(told[0].at));
    }

    #[test]
    fn what_is_known_later_changes_nothing() {
        let readings = readings();
        let all =
            replay((0..60).map(at), |_| vec![(7, Subject::new(&readings, Tz::UTC))], &Settings::default());
        let then = replay(
            (0..60).map(at),
            |now| {
                let known = readings.partition_point(|reading| reading.at <= now);
                vec![(7, Subject::new(&readings[..known], Tz::UTC))]
            },
            &Settings::default(),
        );
        assert_eq!(all, then);
    }

    #[test]
    fn tighter_thresholds_raise_sooner() {
        let readings = readings();
        let first = |settings: &Settings| {
            replay((0..90).map(at), |_| vec![(7, Subject::new(&readings, Tz::UTC))], settings)[0].at
        };
        let tight = Settings { least_loss_percent: 1.0, limit: 1.5, ..Settings::default() };
        assert!(first(&tight) < first(&Settings::default()));
    }
}
