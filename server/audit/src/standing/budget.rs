//! What animals do with their time, from scans or from watching one of them.
//!
//! Source of both sampling rules: Altmann 1974 (Behaviour 49:227). Scans give shares of moments, watching
//! one animal (a focal) gives shares of time. Moments and time in which the animal was not seen are told
//! and left out: an animal out of sight is not resting.

use super::rates::{self, Share};
use crate::stats::exact::Range;
use serde::Serialize;
use std::collections::BTreeMap;

/// Shares of the scans that saw the animal.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OfScans<B> {
    /// Share of each behaviour, with exact intervals that hold if scans stand far enough apart to be
    /// independent.
    pub shares: BTreeMap<B, Share>,
    /// Scans that saw the animal.
    pub seen: u32,
    /// Scans that did not.
    pub not_seen: u32,
}

/// A budget from scans: what each scan saw the animal do, or nothing where it did not see it.
#[must_use]
pub fn of_scans<B: Clone + Ord>(scans: &[Option<B>]) -> OfScans<B> {
    let mut counts: BTreeMap<B, u32> = BTreeMap::new();
    let (mut seen, mut not_seen) = (0, 0);
    for scan in scans {
        match scan {
            Some(behaviour) => {
                *counts.entry(behaviour.clone()).or_default() += 1;
                seen += 1;
            }
            None => not_seen += 1,
        }
    }
    let none = Share { share: 0.0, range: Range { low: 0.0, high: 1.0 } };
    let shares = counts.into_iter().map(|(b, n)| (b, rates::share(n, seen).unwrap_or(none))).collect();
    OfScans { shares, seen, not_seen }
}

/// A stretch of watching one animal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bout<B> {
    /// What it did; nothing where it was out of sight.
    pub behaviour: Option<B>,
    /// For how long, in seconds.
    pub seconds: f64,
}

/// Shares of the time for which an animal was seen.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OfTime<B> {
    /// Share of each behaviour.
    pub shares: BTreeMap<B, f64>,
    /// Seconds for which it was seen.
    pub seen: f64,
    /// Seconds for which it was out of sight.
    pub out_of_sight: f64,
}

/// A budget from watching one animal. Bouts of no length count for nothing.
#[must_use]
pub fn of_focal<B: Clone + Ord>(bouts: &[Bout<B>]) -> OfTime<B> {
    let mut seconds: BTreeMap<B, f64> = BTreeMap::new();
    let (mut seen, mut out_of_sight) = (0.0, 0.0);
    for bout in bouts.iter().filter(|bout| bout.seconds > 0.0) {
        match &bout.behaviour {
            Some(behaviour) => {
                *seconds.entry(behaviour.clone()).or_default() += bout.seconds;
                seen += bout.seconds;
            }
            None => out_of_sight += bout.seconds,
        }
    }
    OfTime { shares: seconds.into_iter().map(|(b, s)| (b, s / seen)).collect(), seen, out_of_sight }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scans_that_saw_nothing_are_told_and_left_out() {
        let told = of_scans(&[Some("feed"), None, Some("rest"), Some("feed"), None, Some("feed")]);
        assert_eq!((told.seen, told.not_seen), (4, 2));
        assert!((told.shares["feed"].share - 0.75).abs() < 1e-12);
        assert!(told.shares["feed"].range.contains(0.3), "four scans say little");
        assert_eq!(of_scans::<&str>(&[None]).shares.len(), 0);
    }

    #[test]
    fn time_out_of_sight_is_told_and_left_out() {
        let bout = |behaviour, seconds| Bout { behaviour, seconds };
        let told = of_focal(&[
            bout(Some("feed"), 90.0),
            bout(None, 600.0),
            bout(Some("rest"), 30.0),
            bout(Some("watch"), 0.0),
        ]);
        assert!((told.shares["feed"] - 0.75).abs() < 1e-12 && told.shares.len() == 2);
        assert!((told.seen - 120.0).abs() < 1e-12 && (told.out_of_sight - 600.0).abs() < 1e-12);
    }
}
