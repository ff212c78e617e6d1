//! What equal values take from the variance of rank statistics.

use super::count;

/// Σ t(t−1)(2t+5) over groups of t equal values: what ties take from Kendall's variance, times 18.
pub(super) fn tie_term(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted
        .chunk_by(|smaller, next| smaller >= next)
        .map(|group| {
            let t = count(group.len());
            t * (t - 1.0) * (2.0 * t + 5.0)
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_groups_of_equal_values_count() {
        assert!(tie_term(&[1.0, 2.0, 3.0]).abs() < f64::EPSILON);
        assert!((tie_term(&[2.0, 1.0, 2.0]) - 18.0).abs() < f64::EPSILON);
        assert!((tie_term(&[2.0, 1.0, 2.0, 1.0, 2.0]) - (66.0 + 18.0)).abs() < f64::EPSILON);
    }
}
