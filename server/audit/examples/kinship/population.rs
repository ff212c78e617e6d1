//! Invented populations over many sites.

use holt_audit::chance::Chance;
use holt_audit::kinship::{Entry, Origin, Parent};

/// How a population breeds.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Shape {
    /// Groups in which one pair breeds for about five litters and gives way to one of its daughters and a male of
    /// another site; one male in ten comes from outside. Twelve generations.
    Pairs,
    /// Each litter has other parents: any two of the last thirty of the site, one sire in ten of another site, one in
    /// ten unknown. About 25 generations in which everybody comes to be kin to everybody.
    Mixed,
}

/// Parents of each animal, in the order of birth.
pub(crate) fn invented(shape: Shape, animals: usize, seed: u64) -> Vec<Entry<usize>> {
    match shape {
        Shape::Pairs => pairs(animals, seed),
        Shape::Mixed => mixed(animals, seed),
    }
}

fn founder(entries: &mut Vec<Entry<usize>>) -> usize {
    entries.push(Entry { animal: entries.len(), origin: Origin::Founder });
    entries.len() - 1
}

fn litter(entries: &mut Vec<Entry<usize>>, sire: &Parent<usize>, dam: usize, size: usize) {
    for _ in 0..size {
        let origin = Origin::Parents { sire: sire.clone(), dam: Parent::Known(dam) };
        entries.push(Entry { animal: entries.len(), origin });
    }
}

fn pairs(animals: usize, seed: u64) -> Vec<Entry<usize>> {
    const A_GROUP: usize = 150;
    let mut chance = Chance::seeded(seed);
    let mut entries = Vec::with_capacity(animals);
    let mut groups: Vec<(usize, usize)> =
        (0..animals.div_ceil(A_GROUP)).map(|_| (founder(&mut entries), founder(&mut entries))).collect();
    while entries.len() < animals {
        // All groups breed beside one another; the sons of one generation are the males of the next.
        let mut sons = Vec::with_capacity(groups.len());
        for (sire, dam) in &mut groups {
            let first = entries.len();
            for _ in 0..5 {
                litter(&mut entries, &Parent::Known(*sire), *dam, 1 + chance.below(4));
            }
            sons.push(first + 1);
            *dam = first;
        }
        chance.shuffle(&mut sons);
        for ((sire, _), son) in groups.iter_mut().zip(sons) {
            *sire = if chance.happens(0.1) { founder(&mut entries) } else { son };
        }
    }
    entries.truncate(animals);
    entries
}

fn mixed(animals: usize, seed: u64) -> Vec<Entry<usize>> {
    const A_SITE: usize = 500;
    let mut chance = Chance::seeded(seed);
    let mut sites: Vec<Vec<usize>> = vec![Vec::new(); animals.div_ceil(A_SITE)];
    let mut entries = Vec::with_capacity(animals);
    while entries.len() < animals {
        let here = chance.below(sites.len());
        let there = if chance.happens(0.1) { chance.below(sites.len()) } else { here };
        let dam = one_of(&sites[here], 0, &mut chance);
        let sire = one_of(&sites[there], 1, &mut chance);
        let first = entries.len();
        if let (Some(dam), Some(sire)) = (dam, sire) {
            let sire = if chance.happens(0.1) { Parent::Unknown } else { Parent::Known(sire) };
            litter(&mut entries, &sire, dam, 1 + chance.below(4));
        } else {
            founder(&mut entries);
        }
        sites[here].extend(first..entries.len());
    }
    entries.truncate(animals);
    entries
}

/// One of the breeders of a site of one sex; animals with an even number are female.
fn one_of(site: &[usize], odd: usize, chance: &mut Chance) -> Option<usize> {
    let breeders = &site[site.len().saturating_sub(30)..];
    let of_the_sex: Vec<usize> = breeders.iter().copied().filter(|animal| animal % 2 == odd).collect();
    (of_the_sex.len() >= 3).then(|| of_the_sex[chance.below(of_the_sex.len())])
}
