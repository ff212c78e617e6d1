//! What is left of the founders' genes, by playing inheritance many times over.
//!
//! Each founder gets two genes of its own, each young one gene of each parent, at random (MacCluer et al. 1986,
//! Zoo Biology 5:147). A parent of which nothing is known is another founder with genes of its own. The
//! expected gene diversity is exactly 1 less the mean kinship, by which the play can be checked; what it adds is
//! how much of each founder is still there, and how far chance carries.

use super::pedigree::{Kind, Nodes, Pedigree};
use crate::chance::Chance;
use crate::stats::count;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A mean over all plays.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// The mean.
    pub mean: f64,
    /// Its standard error.
    pub error: f64,
}

/// What the plays came to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Dropped<A> {
    /// How many there were.
    pub plays: usize,
    /// Probability that two genes of the living, drawn with replacement, come from two genes of founders.
    pub gene_diversity: Estimate,
    /// How many unrelated animals would be as diverse: 1 / (2 × (1 − gene diversity)).
    pub founder_genomes: Estimate,
    /// Of the two genes of each founder, the share that is left among the living.
    pub retained: BTreeMap<A, Estimate>,
}

/// Plays inheritance. The same seed gives the same plays. `None` where nobody lives, one of them is not in the
/// pedigree, or there are fewer than two plays.
#[must_use]
pub fn drop_genes<A: Clone + Ord>(
    pedigree: &Pedigree<A>,
    living: &[A],
    plays: usize,
    seed: u64,
) -> Option<Dropped<A>> {
    let living: BTreeSet<usize> =
        living.iter().map(|animal| pedigree.places.get(animal).copied()).collect::<Option<_>>()?;
    if living.is_empty() || plays < 2 {
        return None;
    }
    let founders: Vec<(&A, usize)> = pedigree
        .places
        .iter()
        .filter(|&(_, &at)| pedigree.nodes.kind(at) == Kind::Founder)
        .map(|(animal, &at)| (animal, at))
        .collect();
    let mut chance = Chance::seeded(seed);
    let mut play = Play::new(&pedigree.nodes);
    let mut diversity = Sum::default();
    let mut retained = vec![Sum::default(); founders.len()];
    for _ in 0..plays {
        play.once(&pedigree.nodes, &mut chance);
        diversity.add(1.0 - play.alike(&living));
        for ((_, at), sum) in founders.iter().zip(&mut retained) {
            sum.add(play.left_of(*at));
        }
    }
    let gene_diversity = diversity.estimate(plays);
    let alike = 1.0 - gene_diversity.mean;
    Some(Dropped {
        plays,
        gene_diversity,
        // The error of an inverse, to the first order.
        founder_genomes: Estimate {
            mean: 1.0 / (2.0 * alike),
            error: gene_diversity.error / (2.0 * alike * alike),
        },
        retained: founders
            .iter()
            .zip(&retained)
            .map(|((animal, _), sum)| ((*animal).clone(), sum.estimate(plays)))
            .collect(),
    })
}

#[derive(Clone, Default)]
struct Sum {
    sum: f64,
    squares: f64,
}

impl Sum {
    fn add(&mut self, value: f64) {
        self.sum += value;
        self.squares += value * value;
    }

    fn estimate(&self, plays: usize) -> Estimate {
        let n = count(plays);
        let mean = self.sum / n;
        let variance = (self.squares - n * mean * mean).max(0.0) / (n - 1.0);
        Estimate { mean, error: (variance / n).sqrt() }
    }
}

struct Play {
    /// The two genes of each node. Those of a founder are numbered by its place.
    genes: Vec<[usize; 2]>,
    /// How often each gene is found among the living.
    found: Vec<usize>,
}

impl Play {
    fn new(nodes: &Nodes) -> Self {
        Self { genes: vec![[0; 2]; nodes.len()], found: Vec::new() }
    }

    fn once(&mut self, nodes: &Nodes, chance: &mut Chance) {
        let mut next = 2 * nodes.len();
        let mut another = || {
            next += 1;
            next - 1
        };
        for at in 0..nodes.len() {
            self.genes[at] = match nodes.kind(at) {
                Kind::Founder => [2 * at, 2 * at + 1],
                Kind::Young => {
                    let mut passed = nodes
                        .from(at)
                        .iter()
                        .map(|&(from, _)| self.genes[from][usize::from(chance.happens(0.5))]);
                    let (sire, dam) = (passed.next(), passed.next());
                    [sire.unwrap_or_else(&mut another), dam.unwrap_or_else(&mut another)]
                }
                Kind::OneOf => {
                    let mut drawn = chance.unit();
                    let it_is = |(from, share): &(usize, f64)| {
                        drawn -= share;
                        (drawn < 0.0).then_some(*from)
                    };
                    let one = nodes.from(at).iter().find_map(it_is);
                    one.map_or_else(|| [another(), another()], |from| self.genes[from])
                }
            };
        }
        self.found.clear();
        self.found.resize(next, 0);
    }

    /// Counts the genes of the living; answers the probability that two of them are copies of one.
    fn alike(&mut self, living: &BTreeSet<usize>) -> f64 {
        for &at in living {
            for gene in self.genes[at] {
                self.found[gene] += 1;
            }
        }
        let all = 2.0 * count(living.len());
        self.found.iter().filter(|&&n| n > 0).map(|&n| (count(n) / all).powi(2)).sum()
    }

    fn left_of(&self, founder: usize) -> f64 {
        let left = self.genes[founder].iter().filter(|&&gene| self.found[gene] > 0).count();
        count(left) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::super::pedigree::{Candidates, Entry, Origin, Parent};
    use super::super::population::population;
    use super::super::{Assumption, Relationships};
    use super::*;

    fn young(animal: usize, sire: Parent<usize>, dam: Parent<usize>) -> Entry<usize> {
        Entry { animal, origin: Origin::Parents { sire, dam } }
    }

    /// Four founders; a line with an unknown sire, an open one, and inbreeding.
    fn pedigree() -> Pedigree<usize> {
        use Parent::{Known, OneOf, Unknown};
        let mut entries: Vec<Entry<usize>> =
            (0..4).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
        entries.extend([
            young(4, Known(0), Known(1)),
            young(5, OneOf(0), Known(1)),
            young(6, OneOf(0), Known(1)),
            young(7, Unknown, Known(4)),
            young(8, Known(5), Known(4)),
            young(9, Known(8), Known(6)),
        ]);
        // In a quarter of the ways it is nobody on record.
        let candidates = [Candidates { shares: vec![(0, 0.5), (2, 0.25)] }];
        Pedigree::build(&entries, &candidates).unwrap()
    }

    #[test]
    fn the_play_agrees_with_the_exact_values_within_its_error() {
        for living in [vec![4, 5, 6, 7, 8, 9], vec![9], vec![7, 8]] {
            let exact = population(&Relationships::of(pedigree(), Assumption::Unrelated), &living).unwrap();
            let mut off = 0;
            for seed in 0..40 {
                let told = drop_genes(&pedigree(), &living, 2_000, seed).unwrap();
                let z = (told.gene_diversity.mean - exact.gene_diversity) / told.gene_diversity.error;
                assert!(z.abs() < 4.5, "{living:?} seed {seed}: {z} errors off");
                off += usize::from(z.abs() > 2.0);
            }
            // Of 40, two lie beyond two errors; seven would be a chance of one in a hundred.
            assert!(off < 7, "{living:?}: {off} of 40 beyond two errors");
        }
    }

    #[test]
    fn what_is_left_of_a_founder_is_what_its_offspring_could_take() {
        // n young of one founder with others keep 1 − 2^-n of its genes.
        let mut entries: Vec<Entry<usize>> =
            (0..5).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
        entries.extend((5..8).map(|n| young(n, Parent::Known(0), Parent::Known(n - 4))));
        let pedigree = Pedigree::build(&entries, &[]).unwrap();
        let told = drop_genes(&pedigree, &[5, 6, 7], 20_000, 7).unwrap();
        for (founder, exact) in [(0, 0.875), (1, 0.5), (4, 0.0)] {
            let left = told.retained[&founder];
            assert!((left.mean - exact).abs() <= 4.0 * left.error, "{founder}: {left:?}");
        }
        assert_eq!(
            drop_genes(&pedigree, &[5, 6, 7], 20_000, 7).unwrap(),
            told,
            "the same seed, the same plays"
        );
        assert_ne!(drop_genes(&pedigree, &[5, 6, 7], 20_000, 8).unwrap(), told);
        assert_eq!(drop_genes(&pedigree, &[], 100, 1), None);
        assert_eq!(drop_genes(&pedigree, &[99], 100, 1), None);
    }
}
