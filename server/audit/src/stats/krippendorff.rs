//! Krippendorff's alpha: agreement of any number of observers, with whatever was left out.
//!
//! Source: Krippendorff 2011, Computing Krippendorff's alpha-reliability (repository.upenn.edu/asc_papers/43):
//! coincidences of pairable values, and a metric by the level of measurement.

use super::count;
use std::collections::BTreeMap;

/// What values mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// Names: they are the same or they are not.
    Nominal,
    /// Ranks: what lies between two of them counts.
    Ordinal,
    /// Differences mean something.
    Interval,
    /// Ratios do; values are above 0 or 0.
    Ratio,
}

/// Alpha of some units, each given by the values that its observers gave it, in any order; who left a unit out
/// has no value in it. 1 for agreement throughout, 0 for what chance gives. `None` where fewer than two values can
/// be paired, or where all of them are the same.
#[must_use]
pub fn alpha(units: &[Vec<i64>], level: Level) -> Option<f64> {
    let mut totals: BTreeMap<i64, f64> = BTreeMap::new();
    let pairable = || units.iter().filter(|unit| unit.len() >= 2);
    for value in pairable().flatten() {
        *totals.entry(*value).or_default() += 1.0;
    }
    let n: f64 = totals.values().sum();
    let differ = |one: i64, other: i64| squared(&totals, level, one, other);
    let observed: f64 = pairable()
        .map(|unit| {
            let pairs = unit.iter().flat_map(|one| unit.iter().map(move |other| (*one, *other)));
            pairs.map(|(one, other)| differ(one, other)).sum::<f64>() / (count(unit.len()) - 1.0)
        })
        .sum();
    let mut expected = 0.0;
    for (one, times) in &totals {
        for (other, others) in &totals {
            expected += times * others * differ(*one, *other);
        }
    }
    (expected > 0.0).then(|| 1.0 - (n - 1.0) * observed / expected)
}

/// The squared difference of two values.
#[expect(clippy::cast_precision_loss, reason = "codes and scores are small")]
fn squared(totals: &BTreeMap<i64, f64>, level: Level, one: i64, other: i64) -> f64 {
    let (low, high) = (one.min(other), one.max(other));
    match level {
        _ if low == high => 0.0,
        Level::Nominal => 1.0,
        Level::Ordinal => {
            let between: f64 = totals.range(low..=high).map(|(_, times)| times).sum();
            (between - 0.5 * (totals[&low] + totals[&high])).powi(2)
        }
        Level::Interval => ((high - low) as f64).powi(2),
        Level::Ratio => ((high - low) as f64 / (high + low) as f64).powi(2),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LEVELS: [Level; 4] = [Level::Nominal, Level::Ordinal, Level::Interval, Level::Ratio];

    #[test]
    fn nothing_to_say_without_pairs_or_without_differences() {
        for level in LEVELS {
            assert_eq!(alpha(&[], level), None);
            assert_eq!(alpha(&[vec![1], vec![2]], level), None);
            assert_eq!(alpha(&[vec![3, 3], vec![3, 3, 3]], level), None);
        }
    }

    proptest! {
        #[test]
        fn agreement_throughout_is_one_and_order_does_not_matter(
            units in proptest::collection::vec(proptest::collection::vec(1_i64..5, 1..5), 2..12),
        ) {
            for level in LEVELS {
                let mut turned: Vec<Vec<i64>> = units.iter().rev().cloned().collect();
                turned.iter_mut().for_each(|unit| unit.reverse());
                let (one, other) = (alpha(&units, level), alpha(&turned, level));
                prop_assert_eq!(one.is_some(), other.is_some());
                if let (Some(one), Some(other)) = (one, other) {
                    prop_assert!((one - other).abs() < 1e-9 && one <= 1.0 + 1e-12);
                }
                let same: Vec<Vec<i64>> = units.iter().map(|unit| vec![unit[0]; 3]).collect();
                if let Some(all) = alpha(&same, level) {
                    prop_assert!((all - 1.0).abs() < 1e-12);
                }
            }
        }
    }
}
