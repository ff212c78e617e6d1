//! Theil–Sen slope: the median of the slopes of all pairs, with the rank-based confidence interval.
//!
//! Sources: Theil 1950, Proc K Ned Akad Wet 53:386; Sen 1968, J Am Stat Assoc 63:1379 (interval and
//! ties). Two conventions of the intercept are in use and differ by grams on real weights, so each
//! has its own name here: [`TheilSen::intercept_separate`] and [`TheilSen::intercept_joint`].

use super::count;
use super::median_mad::median;
use super::normal;
use super::ties::tie_term;

/// A slope over all pairs of readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TheilSen {
    /// Median slope, in units of y per unit of x.
    pub slope: f64,
    /// Lower end of the confidence interval of the slope.
    pub low: f64,
    /// Upper end of the confidence interval of the slope.
    pub high: f64,
    /// How many pairs had different x, and so a slope.
    pub pairs: usize,
}

impl TheilSen {
    /// median(y) − slope · median(x).
    #[must_use]
    pub fn intercept_separate(&self, xs: &[f64], ys: &[f64]) -> Option<f64> {
        Some(median(&mut ys.to_vec())? - self.slope * median(&mut xs.to_vec())?)
    }

    /// median(y − slope · x): the line leaves as many readings above as below.
    #[must_use]
    pub fn intercept_joint(&self, xs: &[f64], ys: &[f64]) -> Option<f64> {
        let mut rests: Vec<f64> = xs.iter().zip(ys).map(|(x, y)| y - self.slope * x).collect();
        median(&mut rests)
    }
}

/// Space for the slopes of the pairs, kept between calls so that a sweep allocates once.
#[derive(Debug, Default)]
pub struct Pairs(Vec<f64>);

/// Fits `ys` on `xs` (same length) with a two-sided interval of the given `confidence` (0.95).
///
/// Time and space grow with the square of the number of readings: give it a window, not a life.
/// The interval takes the sorted slopes at the ranks round((N − zσ)/2) − 1 and round((N + zσ)/2),
/// counted from 0 and rounded half to even, clipped to the slopes there are; σ² is Kendall's
/// variance reduced by ties in x and in y. `None` when no two readings differ in x.
#[must_use]
pub fn fit(xs: &[f64], ys: &[f64], confidence: f64, pairs: &mut Pairs) -> Option<TheilSen> {
    let slopes = &mut pairs.0;
    slopes.clear();
    for (i, (x, y)) in xs.iter().zip(ys).enumerate() {
        slopes.extend(xs[..i].iter().zip(&ys[..i]).filter_map(|(earlier_x, earlier_y)| {
            let run = x - earlier_x;
            (run != 0.0).then(|| (y - earlier_y) / run)
        }));
    }
    let slope = median(slopes)?;
    let n = count(xs.len());
    let variance = (n * (n - 1.0) * (2.0 * n + 5.0) - tie_term(xs) - tie_term(ys)) / 18.0;
    let spread = normal::quantile(0.5 + confidence / 2.0) * variance.max(0.0).sqrt();
    let all = count(slopes.len());
    let low = rank(slopes, ((all - spread) / 2.0).round_ties_even() - 1.0);
    let high = rank(slopes, ((all + spread) / 2.0).round_ties_even());
    Some(TheilSen { slope, low, high, pairs: slopes.len() })
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to the indices of the slice, which are small whole numbers"
)]
fn rank(slopes: &mut [f64], index: f64) -> f64 {
    let index = index.clamp(0.0, count(slopes.len() - 1)) as usize;
    *slopes.select_nth_unstable_by(index, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn fit95(xs: &[f64], ys: &[f64]) -> Option<TheilSen> {
        fit(xs, ys, 0.95, &mut Pairs::default())
    }

    #[test]
    fn nothing_to_say_without_two_days() {
        assert_eq!(fit95(&[], &[]), None);
        assert_eq!(fit95(&[3.0], &[1.0]), None);
        assert_eq!(fit95(&[3.0, 3.0], &[1.0, 2.0]), None);
    }

    proptest! {
        #[test]
        fn turning_the_readings_upside_down_turns_the_slope(
            ys in proptest::collection::vec(1.0..100.0f64, 3..30),
        ) {
            let xs: Vec<f64> = (0u32..).take(ys.len()).map(f64::from).collect();
            let negated: Vec<f64> = ys.iter().map(|y| -y).collect();
            let (up, down) = (fit95(&xs, &ys).unwrap(), fit95(&xs, &negated).unwrap());
            prop_assert!((up.slope + down.slope).abs() < 1e-9);
            prop_assert!(up.low <= up.slope && up.slope <= up.high);
        }

        #[test]
        fn a_straight_line_is_recovered_under_a_quarter_of_nonsense(
            slope in -5.0..5.0f64, wild in proptest::collection::vec(-1e3..1e3f64, 5),
        ) {
            let xs: Vec<f64> = (0..40).map(f64::from).collect();
            let mut ys: Vec<f64> = xs.iter().map(|x| 7.0 + slope * x).collect();
            for (place, nonsense) in wild.iter().enumerate() {
                ys[place * 8 + 3] += nonsense;
            }
            prop_assert!((fit95(&xs, &ys).unwrap().slope - slope).abs() < 1e-9);
        }
    }
}
