//! A young animal that has stopped gaining as it did.

use super::{Band, expected};
use crate::terms::Mass;
use serde::{Deserialize, Serialize};

/// Weighings in a row that fall short before anybody is told: one alone is a wet coat or a meal missed.
const ROW: usize = 2;
/// It gained less than this part of what it should have: every growth slows down, and only a stop is a matter.
const PART: f64 = 0.25;

/// A young animal that gains less than it did.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stall {
    /// Weighings in a row that fell short.
    pub weighings: usize,
    /// Its age at the first of them, in days.
    pub since_age: f64,
    /// What it should have weighed at the last of them, by how it gained before the first.
    pub expected: Band,
    /// What it weighed.
    pub weighed: Mass,
}

/// Whether the latest two or more weighings all lie below what an animal should have weighed by how it gained before
/// them ([`expected`]), and it gained less than a quarter of that since. `points` are `(age in days, grams)` in order of age. `None` where it gains as it did, and
/// where there are fewer than four weighings to tell by.
#[must_use]
pub fn stalled(points: &[(f64, f64)]) -> Option<Stall> {
    let (&(age, grams), _) = points.split_last()?;
    // The longest row is the true beginning: what was taken in after it must not soften the forecast.
    (4..points.len().saturating_sub(ROW - 1)).find_map(|first| {
        let (before, short) = points.split_at(first);
        let below = |(at, grams): &(f64, f64)| {
            expected(before, *at).is_some_and(|band| Mass::from_grams(*grams) < band.low)
        };
        if !short.iter().all(below) {
            return None;
        }
        let (since_age, expected) = (short.first()?.0, expected(before, age)?);
        let was = before.last()?.1;
        if grams - was >= PART * (expected.expected.grams() - was) {
            return None;
        }
        Some(Stall { weighings: short.len(), since_age, expected, weighed: Mass::from_grams(grams) })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weekly(grams: &[f64]) -> Vec<(f64, f64)> {
        grams.iter().enumerate().map(|(week, grams)| (7.0 * week as f64 + 30.0, *grams)).collect()
    }

    #[test]
    fn two_weighings_that_fall_short_are_told_and_one_is_not() {
        let growing = [400.0, 452.0, 505.0, 572.0, 640.0, 718.0];
        assert_eq!(stalled(&weekly(&growing)), None);
        let one = [400.0, 452.0, 505.0, 572.0, 640.0, 640.0];
        assert_eq!(stalled(&weekly(&one)), None);
        let two = [400.0, 452.0, 505.0, 572.0, 640.0, 640.0, 640.0];
        let stall = stalled(&weekly(&two)).unwrap();
        assert_eq!((stall.weighings, stall.since_age, stall.weighed), (2, 65.0, Mass::from_grams(640.0)));
        assert!(
            stall.expected.low > stall.weighed && stall.expected.high < Mass::from_grams(1100.0),
            "{stall:?}"
        );
    }

    #[test]
    fn it_is_told_from_its_true_beginning() {
        let long = [400.0, 452.0, 505.0, 572.0, 640.0, 640.0, 640.0, 645.0, 640.0];
        assert_eq!(stalled(&weekly(&long)).map(|stall| (stall.weighings, stall.since_age)), Some((4, 65.0)));
    }

    #[test]
    fn few_weighings_tell_nothing() {
        assert_eq!(stalled(&weekly(&[400.0, 452.0, 452.0, 452.0])), None);
        assert_eq!(stalled(&[]), None);
    }
}
