//! The young of one litter beside one another.

use crate::stats::{count, median_mad};
use crate::terms::Mass;
use serde::{Deserialize, Serialize};

/// Siblings that a comparison needs.
const FEWEST: usize = 3;
/// Standard deviation of ln mass within a litter, and how many siblings that weighs as much as, until the
/// litter tells better: pooled over 322 rat pups of 27
/// litters (Pinheiro & Bates 2000, appendix A; see the check `growth`).
const USUAL_SPREAD: f64 = 0.074;
const USUAL_SIBLINGS: f64 = 4.0;
/// Spreads below the middle from which one lags.
const BEHIND: f64 = 2.0;

/// One of a litter beside the others.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sibling {
    /// How many others it is compared with.
    pub others: usize,
    /// Its mass against the middle of theirs, in %.
    pub percent: f64,
    /// The same in spreads of the litter.
    pub z: f64,
    /// It lags: two spreads or more below their middle.
    pub behind: bool,
}

/// Each of a litter, weighed on one day, beside the others; `None` for one that was not weighed, and for all
/// where fewer than three others were. Young told apart only: a crate's mass is never divided.
#[must_use]
pub fn siblings(masses: &[Option<Mass>]) -> Vec<Option<Sibling>> {
    let logs: Vec<Option<f64>> =
        masses.iter().map(|mass| mass.filter(|mass| mass.mg() > 0).map(|mass| mass.grams().ln())).collect();
    let beside = |(own, log): (usize, &Option<f64>)| {
        let mut others: Vec<f64> =
            logs.iter().enumerate().filter(|(other, _)| *other != own).filter_map(|(_, log)| *log).collect();
        let held = others.len();
        if held < FEWEST {
            return None;
        }
        let middle = median_mad::median(&mut others)?;
        let seen = median_mad::mad(&mut others, middle)? * median_mad::NORMAL_CONSISTENCY;
        let (usual, counted) = (USUAL_SIBLINGS, count(held));
        let spread = ((usual * USUAL_SPREAD.powi(2) + counted * seen * seen) / (usual + counted)).sqrt();
        let apart = (*log)? - middle;
        let z = apart / spread;
        Some(Sibling { others: held, percent: 100.0 * apart.exp_m1(), z, behind: z <= -BEHIND })
    };
    logs.iter().enumerate().map(beside).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grams(masses: &[f64]) -> Vec<Option<Mass>> {
        masses.iter().map(|grams| (*grams > 0.0).then(|| Mass::from_grams(*grams))).collect()
    }

    #[test]
    fn the_one_that_lags_is_told_and_the_others_are_not() {
        let told = siblings(&grams(&[6.4, 6.6, 4.6, 6.5, 6.9, 0.0]));
        let behind: Vec<Option<bool>> = told.iter().map(|one| one.map(|one| one.behind)).collect();
        assert_eq!(behind, [Some(false), Some(false), Some(true), Some(false), Some(false), None]);
        let lags = told[2].unwrap();
        assert!(lags.others == 4 && (lags.percent + 29.8).abs() < 0.1, "{lags:?}");
    }

    #[test]
    fn three_of_a_litter_are_too_few() {
        assert_eq!(siblings(&grams(&[6.0, 6.0, 3.0])), [None, None, None]);
    }
}
