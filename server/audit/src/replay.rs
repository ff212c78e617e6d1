//! What would have been told, and when: findings of each look carried on to what people hear of.

use crate::episode::{self, Change, Episode, Sighting};
use crate::terms::Day;
use std::collections::{BTreeMap, BTreeSet};

/// Carries each matter from one look to the next. A matter is whatever its finder names it by.
#[derive(Clone, Debug)]
pub struct Replay<K>(BTreeMap<K, Episode>);

impl<K: Copy + Ord> Default for Replay<K> {
    fn default() -> Self {
        Self(BTreeMap::new())
    }
}

impl<K: Copy + Ord> Replay<K> {
    /// What people hear of a look on a day, given all that is found on it, in order of matters: what is told already and is
    /// not found any more goes quiet, and is over after a while.
    pub fn look(&mut self, on: Day, found: &BTreeMap<K, Sighting>) -> Vec<(K, Change, Option<Sighting>)> {
        let mut told = Vec::new();
        let matters: BTreeSet<K> = found.keys().chain(self.0.keys()).copied().collect();
        for matter in matters {
            let seen = found.get(&matter).copied();
            let (after, change) = episode::follow(self.0.remove(&matter), seen, on);
            self.0.extend(after.map(|episode| (matter, episode)));
            if change != Change::None {
                told.push((matter, change, seen));
            }
        }
        told
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episode::Severity;

    #[test]
    fn people_hear_of_changes_alone() {
        let since: Day = "2026-01-05".parse().unwrap();
        let on = |week: u64| since + chrono::Days::new(7 * week);
        let mut replay = Replay::default();
        let mut look = |week, found: &[(u8, Severity)]| -> Vec<(u8, Change)> {
            let found =
                found.iter().map(|(matter, severity)| (*matter, Sighting { since, severity: *severity }));
            let told = replay.look(on(week), &found.collect());
            told.into_iter().map(|(matter, change, _)| (matter, change)).collect()
        };
        assert_eq!(look(0, &[(1, Severity::Watch)]), [(1, Change::Raised)]);
        assert_eq!(look(1, &[(1, Severity::Watch)]), []);
        assert_eq!(
            look(2, &[(1, Severity::Act), (2, Severity::Watch)]),
            [(1, Change::Worse), (2, Change::Raised)]
        );
        assert_eq!(look(3, &[(1, Severity::Act)]), [(2, Change::Quiet)]);
        assert_eq!(look(4, &[]), [(1, Change::Quiet)]);
        assert_eq!(look(7, &[]), [(2, Change::Over)]);
        assert_eq!(look(8, &[(2, Severity::Watch)]), [(1, Change::Over), (2, Change::Raised)]);
    }
}
