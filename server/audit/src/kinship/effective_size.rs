//! As how many animals that mate at random a population loses its diversity.
//!
//! By the numbers of breeders, 4·m·f / (m + f) (Wright 1931, Genetics 16:97). By how fast inbreeding grew, from
//! each animal's own inbreeding and how many generations of its ancestry are known: with t the sum of (1/2)^n
//! over all known ancestors n generations back, its part is 1 − (1 − F)^(1/(t − 1)), and the size is 1 / (2 ×
//! their mean) (Gutiérrez et al. 2009, Genet Sel Evol 41:3; from memory). What is unknown makes F a lower bound,
//! and so the size an upper one.

use super::pedigree::Kind;
use super::relationship::Relationships;
use crate::stats::count;
use serde::Serialize;

/// Size by the numbers of males and females that breed. `None` where one sex is missing.
#[must_use]
pub fn by_breeders(males: u32, females: u32) -> Option<f64> {
    let (m, f) = (f64::from(males), f64::from(females));
    (males > 0 && females > 0).then(|| 4.0 * m * f / (m + f))
}

/// Size by how fast inbreeding grew.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ByInbreeding {
    /// The size; an upper bound where ancestry is unknown.
    pub size: f64,
    /// Its standard error.
    pub error: f64,
    /// Mean number of generations that are known.
    pub generations: f64,
    /// Animals of which more than one generation is known, by which it was worked out.
    pub animals: usize,
}

/// Size by the inbreeding of these animals. `None` where fewer than two of them have more than one generation of
/// known ancestors, one is not in the pedigree, or none is inbred.
#[must_use]
pub fn by_inbreeding<A: Clone + Ord>(relationships: &Relationships<A>, of: &[A]) -> Option<ByInbreeding> {
    let nodes = &relationships.pedigree().nodes;
    // An animal counts as one generation to its young, an open parentage as what its candidates come to.
    let (mut generations, mut counts) = (Vec::with_capacity(nodes.len()), Vec::with_capacity(nodes.len()));
    for at in 0..nodes.len() {
        let behind: f64 = nodes.from(at).iter().map(|&(from, part): &(usize, f64)| part * counts[from]).sum();
        counts.push(if nodes.kind(at) == Kind::OneOf { behind } else { 1.0 + behind });
        generations.push(behind);
    }
    let mut grown = Vec::new();
    let mut known = 0.0;
    for animal in of {
        let at = *relationships.pedigree().places.get(animal)?;
        if generations[at] > 1.0 {
            let inbreeding = relationships.inbreeding_at(at).value;
            grown.push(1.0 - (1.0 - inbreeding).max(0.0).powf(1.0 / (generations[at] - 1.0)));
            known += generations[at];
        }
    }
    if grown.len() < 2 {
        return None;
    }
    let n = count(grown.len());
    let mean = grown.iter().sum::<f64>() / n;
    let variance = grown.iter().map(|one| (one - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (mean > 0.0).then(|| ByInbreeding {
        size: 1.0 / (2.0 * mean),
        // The error of an inverse, to the first order.
        error: (variance / n).sqrt() / (2.0 * mean * mean),
        generations: known / n,
        animals: grown.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::Assumption;
    use super::super::pedigree::{Entry, Origin, Parent, Pedigree};
    use super::*;
    use crate::chance::Chance;

    #[test]
    fn animals_that_mate_at_random_are_as_many_as_they_are() {
        const SIZE: usize = 25;
        // Each young has any two parents of the 25 before it, never the same twice: they count as half a one more.
        let mut chance = Chance::seeded(4);
        let mut sizes = Vec::new();
        for _ in 0..60 {
            let mut entries: Vec<Entry<usize>> =
                (0..SIZE).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
            for generation in 0..12 {
                for n in 0..SIZE {
                    let one = chance.below(SIZE);
                    let other = (one + 1 + chance.below(SIZE - 1)) % SIZE;
                    let (sire, dam) =
                        (Parent::Known(generation * SIZE + one), Parent::Known(generation * SIZE + other));
                    let animal = (generation + 1) * SIZE + n;
                    entries.push(Entry { animal, origin: Origin::Parents { sire, dam } });
                }
            }
            let last: Vec<usize> = (12 * SIZE..13 * SIZE).collect();
            let told = by_inbreeding(
                &Relationships::of(Pedigree::build(&entries, &[]).unwrap(), Assumption::Unrelated),
                &last,
            )
            .unwrap();
            assert!((told.generations - 12.0).abs() < 1e-9 && told.animals == SIZE);
            sizes.push(1.0 / told.size);
        }
        let mean = sizes.iter().sum::<f64>() / count(sizes.len());
        let spread = (sizes.iter().map(|one| (one - mean).powi(2)).sum::<f64>() / 59.0).sqrt();
        assert!((mean - 1.0 / 25.5).abs() < 4.0 * spread / 60.0_f64.sqrt(), "{mean} ± {spread}");
    }

    #[test]
    fn too_little_says_nothing() {
        assert_eq!(by_breeders(2, 6), Some(6.0));
        assert_eq!(by_breeders(0, 6), None);
        let mut entries: Vec<Entry<usize>> =
            (0..2).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
        let parents = || Origin::Parents { sire: Parent::Known(0), dam: Parent::Known(1) };
        entries.extend((2..5).map(|animal| Entry { animal, origin: parents() }));
        let told = Relationships::of(Pedigree::build(&entries, &[]).unwrap(), Assumption::Unrelated);
        assert_eq!(by_inbreeding(&told, &[2, 3, 4]), None, "one generation tells nothing");
        assert_eq!(by_inbreeding(&told, &[99]), None);
    }
}
