//! A young animal that has stopped gaining as it did.

use super::next::span;
use super::{Band, expected};
use crate::terms::Mass;
use serde::{Deserialize, Serialize};

/// Weighings in a row that fall short before anybody is told: one alone is a wet coat or a meal missed.
const ROW: usize = 2;
/// It gained less than this part of what it should have: every growth slows down, and only a stop is a matter.
const PART: f64 = 0.25;
/// A young animal of this part of what grown ones of its kind weigh is no longer told: from there on growth ends
/// by itself. Common practice, no source; on drawn growth curves see the tests.
const GROWN: f64 = 0.85;

/// A young animal that gains less than it did.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stall {
    /// Weighings in a row that fell short.
    pub weighings: usize,
    /// Its age at the first of them, in days.
    pub since_age: f64,
    /// What it should have weighed at the last of them, by how it gained before the first: worked out no further
    /// ahead than the readings that tell it reach back, and the same from there on.
    pub expected: Band,
    /// What it weighed.
    pub weighed: Mass,
}

/// Whether the latest two or more weighings all lie below what an animal should have weighed by how it gained
/// before them ([`expected`]), and it gained less than a quarter of that since. `points` are `(age in days, grams)`
/// in order of age; `grown` is what grown animals of its kind weigh, where that is known. `None` where it gains as
/// it did, where it is as good as grown, and where there are fewer than four weighings to tell by.
#[must_use]
pub fn stalled(points: &[(f64, f64)], grown: Option<Mass>) -> Option<Stall> {
    let (&(age, grams), _) = points.split_last()?;
    if grown.is_some_and(|grown| grams >= GROWN * grown.grams()) {
        return None;
    }
    // The longest row is the true beginning: what was taken in after it must not soften the forecast.
    (4..points.len().saturating_sub(ROW - 1)).find_map(|first| {
        let (before, short) = points.split_at(first);
        let (last, was) = *before.last()?;
        // A line through ln mass doubles for ever, and no animal does.
        let furthest = last + span(before);
        let should = |at: f64| expected(before, at.min(furthest));
        let below =
            |(at, grams): &(f64, f64)| should(*at).is_some_and(|band| Mass::from_grams(*grams) < band.low);
        if !short.iter().all(below) {
            return None;
        }
        let (since_age, expected) = (short.first()?.0, should(age)?);
        if grams - was >= PART * (expected.expected.grams() - was) {
            return None;
        }
        Some(Stall { weighings: short.len(), since_age, expected, weighed: Mass::from_grams(grams) })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    fn weekly(grams: &[f64]) -> Vec<(f64, f64)> {
        grams.iter().enumerate().map(|(week, grams)| (7.0 * week as f64 + 30.0, *grams)).collect()
    }

    #[test]
    fn two_weighings_that_fall_short_are_told_and_one_is_not() {
        let growing = [400.0, 452.0, 505.0, 572.0, 640.0, 718.0];
        assert_eq!(stalled(&weekly(&growing), None), None);
        let one = [400.0, 452.0, 505.0, 572.0, 640.0, 640.0];
        assert_eq!(stalled(&weekly(&one), None), None);
        let two = [400.0, 452.0, 505.0, 572.0, 640.0, 640.0, 640.0];
        let stall = stalled(&weekly(&two), None).unwrap();
        assert_eq!((stall.weighings, stall.since_age, stall.weighed), (2, 65.0, Mass::from_grams(640.0)));
        assert!(
            stall.expected.low > stall.weighed && stall.expected.high < Mass::from_grams(1100.0),
            "{stall:?}"
        );
    }

    #[test]
    fn it_is_told_from_its_true_beginning() {
        let long = [400.0, 452.0, 505.0, 572.0, 640.0, 640.0, 640.0, 645.0, 640.0];
        assert_eq!(
            stalled(&weekly(&long), None).map(|stall| (stall.weighings, stall.since_age)),
            Some((4, 65.0))
        );
    }

    #[test]
    fn few_weighings_tell_nothing() {
        assert_eq!(stalled(&weekly(&[400.0, 452.0, 452.0, 452.0]), None), None);
        assert_eq!(stalled(&[], None), None);
    }
    /// A litter of a hundred, weighed weekly from its second week on until it is a year old, by a curve with some
    /// scatter: how many are told as stalled at some time, and how many of as many that stop at the eighth week.
    fn told(curve: impl Fn(f64) -> f64, grown: Option<Mass>) -> (usize, usize) {
        let mut chance = Chance::seeded(11);
        let mut told = |stops: f64| {
            let one = |chance: &mut Chance| {
                let points: Vec<(f64, f64)> = (2..52_u32)
                    .map(|week| {
                        let week = f64::from(week);
                        // Four even draws together scatter by 0.9 %.
                        let scatter: f64 = (0..4).map(|_| 0.008 * (2.0 * chance.unit() - 1.0)).sum();
                        (7.0 * week, curve(week.min(stops)) * (1.0 + scatter))
                    })
                    .collect();
                (1..=points.len()).any(|weighed| stalled(&points[..weighed], grown).is_some())
            };
            (0..100).filter(|_| one(&mut chance)).count()
        };
        (told(f64::INFINITY), told(8.0))
    }

    #[test]
    fn growth_that_ends_as_all_growth_does_is_no_stall() {
        let grown = Mass::from_grams(1300.0);
        let logistic = |week: f64| 1300.0 / (1.0 + (-(week - 14.0) / 6.0).exp());
        let gompertz = |week: f64| 1300.0 * (-3.5 * (-week / 7.5).exp()).exp();
        let figures = [
            told(logistic, Some(grown)),
            told(gompertz, Some(grown)),
            told(logistic, None),
            told(gompertz, None),
        ];
        // Where no grown animal is known, a fifth are told when their growth ends; nearly all that stop are told.
        assert_eq!(figures, [(0, 99), (0, 94), (18, 99), (21, 94)]);
    }
}
