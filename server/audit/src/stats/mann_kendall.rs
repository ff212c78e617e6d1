//! Mann–Kendall test: do later readings tend to be lower (or higher) than earlier ones?
//!
//! Sources: Mann 1945, Econometrica 13:245; Kendall 1975, Rank Correlation Methods (variance under
//! ties, continuity correction). It looks at order only, so unequal days between weighings do not
//! matter, and it says nothing about how steep a trend is: see [`super::theil_sen`] for that.

use super::count;
use super::normal;
use super::ties::tie_term;

/// Result of the test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MannKendall {
    /// Pairs that rise minus pairs that fall.
    pub s: i64,
    /// Variance of `s` when there is no trend, reduced by ties.
    pub variance: f64,
    /// `s` in standard deviations, corrected by one for continuity.
    pub z: f64,
    /// Two-sided probability of a |z| this large without trend (normal approximation, which is
    /// rough below ten readings).
    pub p: f64,
}

/// Tests readings given in order of time. Takes time in the square of their number: give it a
/// window. `None` below two readings.
#[must_use]
pub fn test(ys: &[f64]) -> Option<MannKendall> {
    if ys.len() < 2 {
        return None;
    }
    let s: i64 = ys
        .iter()
        .enumerate()
        .flat_map(|(i, later)| {
            ys[..i].iter().map(move |earlier| i64::from(later > earlier) - i64::from(later < earlier))
        })
        .sum();
    let n = count(ys.len());
    let variance = (n * (n - 1.0) * (2.0 * n + 5.0) - tie_term(ys)) / 18.0;
    #[expect(clippy::cast_precision_loss, reason = "at most the number of pairs in a window")]
    let excess = (s - s.signum()) as f64;
    let z = if s == 0 { 0.0 } else { excess / variance.sqrt() };
    Some(MannKendall { s, variance, z, p: normal::two_sided_p(z) })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Chick 18 of the ChickWeight data (Crowder & Hand 1990) was weighed twice: 39 g, 35 g.
    #[test]
    fn two_readings_are_no_trend() {
        let told = test(&[39.0, 35.0]).unwrap();
        assert_eq!((told.s, told.variance, told.z, told.p), (-1, 1.0, 0.0, 1.0));
        assert_eq!(test(&[39.0]), None);
    }

    #[test]
    fn readings_that_never_change_have_no_trend() {
        let told = test(&[5.0; 9]).unwrap();
        assert_eq!((told.s, told.variance, told.z, told.p), (0, 0.0, 0.0, 1.0));
    }
}
