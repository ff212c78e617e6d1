//! How varied a set of things is: kinds of enrichment offered, items in a diet, species in an exhibit.
//!
//! Sources: Shannon 1948 (Bell System Tech J 27:379); Simpson 1949 (Nature 163:688); Pielou 1966 (J Theor
//! Biol 13:131) for evenness; Hill 1973 (Ecology 54:427) for the effective number. The base of the
//! logarithm is always named, because libraries differ in which they take.

use crate::stats::count;
use serde::Serialize;
use std::f64::consts::LN_2;

/// Measures of variety over the categories that occur.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Diversity {
    /// Categories that occur at all.
    pub categories: usize,
    /// Things counted.
    pub total: u64,
    /// Shannon's entropy with natural logarithms, in nats.
    pub shannon_nats: f64,
    /// Shannon's entropy with logarithms to base 2, in bits.
    pub shannon_bits: f64,
    /// Probability that two things drawn with replacement are of different categories.
    pub gini_simpson: f64,
    /// Inverse of the probability that they are of the same.
    pub inverse_simpson: f64,
    /// How many equally common categories would be as varied (exponential of the entropy).
    pub effective: f64,
    /// Entropy as a share of what equally common categories would have. `None` for one category, where it
    /// would be 0/0.
    pub evenness: Option<f64>,
}

/// Variety of `counts`, one per category. `None` where nothing was counted.
#[must_use]
pub fn diversity(counts: &[u32]) -> Option<Diversity> {
    let total: u64 = counts.iter().map(|&n| u64::from(n)).sum();
    if total == 0 {
        return None;
    }
    let sum: f64 = counts.iter().map(|&n| f64::from(n)).sum();
    let shares: Vec<f64> = counts.iter().filter(|&&n| n > 0).map(|&n| f64::from(n) / sum).collect();
    // Adding 0.0 turns the -0 that one category gives into 0.
    let shannon_nats = -shares.iter().map(|share| share * share.ln()).sum::<f64>() + 0.0;
    let same: f64 = shares.iter().map(|share| share * share).sum();
    let categories = shares.len();
    Some(Diversity {
        categories,
        total,
        shannon_nats,
        shannon_bits: shannon_nats / LN_2,
        gini_simpson: 1.0 - same,
        inverse_simpson: 1.0 / same,
        effective: shannon_nats.exp(),
        evenness: (categories > 1).then(|| shannon_nats / count(categories).ln()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn nothing_has_no_variety_and_one_category_no_evenness() {
        assert_eq!(diversity(&[]), None);
        assert_eq!(diversity(&[0, 0]), None);
        let one = diversity(&[0, 9]).unwrap();
        assert_eq!((one.categories, one.evenness), (1, None));
        assert!(one.shannon_nats.is_sign_positive() && one.shannon_nats < 1e-12);
    }

    proptest! {
        #[test]
        fn variety_lies_between_one_category_and_all_alike(counts in prop::collection::vec(0_u32..50, 1..12)) {
            prop_assume!(counts.iter().any(|&n| n > 0));
            let told = diversity(&counts).unwrap();
            prop_assert!(told.effective >= 1.0 - 1e-9 && told.effective <= count(told.categories) + 1e-9);
            // Hill numbers fall with their order.
            prop_assert!(told.inverse_simpson <= told.effective + 1e-9);
            if let Some(evenness) = told.evenness {
                prop_assert!((0.0..=1.0 + 1e-12).contains(&evenness));
            }
            let doubled: Vec<u32> = counts.iter().map(|n| n * 2).collect();
            let twice = diversity(&doubled).unwrap();
            prop_assert!((twice.shannon_nats - told.shannon_nats).abs() < 1e-9);
        }
    }
}
