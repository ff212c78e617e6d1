//! How an animal gains or loses beside those that it lives with.

use crate::stats::{count, median_mad};

/// Fewest companions that it can be held against.
const FEWEST: usize = 3;
/// Standard deviation of paces among healthy companions, in ln mass a week, and how many companions that weighs as
/// much as, until the group tells better (judgement, no source).
const USUAL_SPREAD: f64 = 0.004;
const USUAL_COMPANIONS: f64 = 6.0;

/// One among others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// By how much it went a week, and the middle of its companions, in %.
    pub percent: [f64; 2],
    /// The same in robust spreads of theirs; below nothing where it falls behind.
    pub z: f64,
}

/// How the pace of one ([`super::Member::pace`]) stands among those of its companions. None with fewer than three.
#[must_use]
pub fn beside(own: f64, companions: &[f64]) -> Option<Beside> {
    if companions.len() < FEWEST {
        return None;
    }
    let mut others = companions.to_vec();
    let middle = median_mad::median(&mut others)?;
    let seen = median_mad::mad(&mut others, middle)? * median_mad::NORMAL_CONSISTENCY;
    let (known, held) = (USUAL_COMPANIONS, count(companions.len()));
    let spread = ((known * USUAL_SPREAD.powi(2) + held * seen * seen) / (known + held)).sqrt();
    Some(Beside { percent: [own, middle].map(|pace| 100.0 * pace.exp_m1()), z: (own - middle) / spread })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_that_falls_behind_stands_below_the_others() {
        let told = beside(-0.02, &[0.001, -0.001, 0.002, 0.0]).unwrap();
        assert!(told.z < -4.0 && (told.percent[0] + 1.98).abs() < 0.01, "{told:?}");
        assert_eq!(beside(-0.02, &[0.0, 0.0]), None);
        assert!(beside(-0.02, &[-0.02, -0.021, -0.019]).unwrap().z.abs() < 0.5);
    }
}
