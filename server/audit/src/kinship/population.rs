//! What the living animals keep of their founders' genes.
//!
//! Source of the definitions, from memory: Lacy 1995 (Zoo Biology 14:565); Caballero & Toro 2000 (Genet
//! Res 75:331). Mean kinship of an animal is its kinship with all living ones, *itself included*; gene
//! diversity is 1 less the mean of them; founder genome equivalents are 1 / (2 × that mean). Founder
//! genome equivalents are also estimated from expected retention; in small sets the two differ, and
//! this is the one from mean kinship.

use super::relationship::{Figure, Relationships};
use crate::stats::count;
use serde::Serialize;
use std::collections::BTreeMap;

/// The genes of a set of living animals.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Population<A> {
    /// Mean kinship of each animal with all of them, itself included. Lower bounds where ancestry is
    /// unknown.
    pub mean_kinship: BTreeMap<A, Figure>,
    /// Mean of those.
    pub mean: f64,
    /// Share of the founders' gene diversity that is kept, at most.
    pub gene_diversity: f64,
    /// How many unrelated animals would be as diverse, at most.
    pub founder_genomes: f64,
    /// Mean share of the ancestry that leads to founders: how far the three above can be relied on.
    pub known: f64,
}

/// Sums up the living. `None` where there are none, or one is not in the pedigree.
#[must_use]
pub fn population<A: Clone + Ord>(relationships: &Relationships<A>, living: &[A]) -> Option<Population<A>> {
    let places: BTreeMap<&A, usize> = living
        .iter()
        .map(|animal| Some((animal, *relationships.pedigree().places.get(animal)?)))
        .collect::<Option<_>>()?;
    if places.is_empty() {
        return None;
    }
    let size = count(places.len());
    let mut vector = vec![0.0; relationships.pedigree().nodes.len()];
    for &at in places.values() {
        vector[at] = 1.0 / size;
    }
    relationships.times(&mut vector);
    let known = places.values().map(|&at| relationships.known(at)).sum::<f64>() / size;
    let supposed = |animal: &A| relationships.inbreeding(animal).is_some_and(|figure| figure.supposed);
    let any_supposed = places.keys().any(|animal| supposed(animal));
    let mean_kinship: BTreeMap<A, Figure> = places
        .iter()
        .map(|(&animal, &at)| {
            let figure = Figure {
                value: vector[at] / 2.0,
                known: relationships.known(at) * known,
                supposed: any_supposed,
            };
            (animal.clone(), figure)
        })
        .collect();
    let mean = mean_kinship.values().map(|figure| figure.value).sum::<f64>() / size;
    // Kinship with itself is at least a half, so the mean is never zero.
    Some(Population {
        mean_kinship,
        mean,
        gene_diversity: 1.0 - mean,
        founder_genomes: 1.0 / (2.0 * mean),
        known,
    })
}

#[cfg(test)]
mod tests {
    use super::super::Assumption;
    use super::super::pedigree::{Entry, Origin, Pedigree};
    use super::*;

    #[test]
    fn unrelated_founders_are_worth_as_many_genomes_as_they_are() {
        let entries: Vec<Entry<u8>> =
            (0..7).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
        let relationships = Relationships::of(Pedigree::build(&entries, &[]).unwrap(), Assumption::Unrelated);
        let told = population(&relationships, &[0, 1, 2, 3, 4]).unwrap();
        assert!((told.founder_genomes - 5.0).abs() < 1e-12 && (told.gene_diversity - 0.9).abs() < 1e-12);
        // Named twice, an animal is still one.
        assert_eq!(population(&relationships, &[0, 1, 2, 3, 4, 4]).unwrap(), told);
        assert_eq!(population(&relationships, &[]), None);
        assert_eq!(population(&relationships, &[9]), None);
    }
}
