//! Middle and spread that a few wild readings cannot move.
//!
//! Source: Rousseeuw & Croux 1993, J Am Stat Assoc 88:1273 (median absolute deviation, breakdown
//! point 50 %).

/// What the raw MAD of normal values is multiplied by to estimate their standard deviation:
/// 1 / Φ⁻¹(3/4).
pub const NORMAL_CONSISTENCY: f64 = 1.482_602_218_505_602;

/// Median, in the unit of `values`; the mean of the middle two when their count is even. Reorders
/// `values` (O(n), no allocation). `None` without values.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(f64::midpoint(lower, upper))
}

/// Raw median absolute deviation from `centre`, in the unit of `values`, which it overwrites with
/// the deviations. Times [`NORMAL_CONSISTENCY`] it estimates a standard deviation. `None` without
/// values.
#[must_use]
pub fn mad(values: &mut [f64], centre: f64) -> Option<f64> {
    for value in &mut *values {
        *value = (*value - centre).abs();
    }
    median(values)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn an_even_count_takes_the_mean_of_the_middle_two() {
        assert_eq!(median(&mut [4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut []), None);
    }

    /// The worked example of Wikipedia's and most texts' article on the MAD, recomputable by hand:
    /// 1 1 2 2 4 6 9 has median 2, absolute deviations 1 1 0 0 2 4 7, whose median is 1.
    #[test]
    fn mad_of_a_worked_example() {
        assert_eq!(mad(&mut [1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0], 2.0), Some(1.0));
    }

    #[test]
    fn consistency_is_the_inverse_of_the_upper_quartile() {
        assert!((NORMAL_CONSISTENCY * crate::stats::normal::quantile(0.75) - 1.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn equals_the_middle_of_the_sorted(mut values in proptest::collection::vec(-1e6..1e6f64, 1..60)) {
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            let n = sorted.len();
            let expected = f64::midpoint(sorted[(n - 1) / 2], sorted[n / 2]);
            prop_assert!((median(&mut values).unwrap() - expected).abs() < 1e-9);
        }

        #[test]
        fn one_wild_reading_cannot_leave_the_range_of_the_others(
            mut values in proptest::collection::vec(10.0..20.0f64, 2..40), wild in -1e9..1e9f64,
        ) {
            values.push(wild);
            let middle = median(&mut values).unwrap();
            prop_assert!((10.0..=20.0).contains(&middle));
        }
    }
}
