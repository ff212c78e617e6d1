//! Inbreeding and kinship without ever writing down the whole table of relationships.
//!
//! The table A of additive relationships (twice the kinships) is T·D·T', where T tells what part of each
//! animal comes from each other and D, which is diagonal, what is new in it (Henderson 1976, Biometrics
//! 32:69). Its diagonal is found node by node from D of the ancestors (Meuwissen & Luo 1992, Genet Sel Evol
//! 24:305), which are taken by the longest way back (Sargolzaei & Iwaisaki 2005, Anim Sci J 76:401), for all
//! mates of a parent in one pass up its ancestors and one pass down theirs (Sargolzaei, Iwaisaki & Colleau
//! 2005, J Anim Breed Genet 122:325); and a column of it, or its product
//! with any vector, in one pass up and one down the pedigree (Colleau 2002, Genet Sel Evol 34:409). Memory grows
//! with the number of animals and not with its square.

use super::assumption::Assumption;
use super::pedigree::{Kind, Nodes, Pedigree};
use super::ways::Ways;
use serde::Serialize;
use std::collections::BTreeMap;

/// A computed figure with how far it can be relied on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Figure {
    /// Its value. A lower bound where not all ancestry is known.
    pub value: f64,
    /// Share of the ancestry behind it that leads to founders, from 0 to 1; of two animals, the product.
    pub known: f64,
    /// Whether it rests on parents that are one of several.
    pub supposed: bool,
}

impl Figure {
    /// Whether the true value may be higher, because some ancestry is unknown.
    #[must_use]
    pub fn is_lower_bound(&self) -> bool {
        self.known < 1.0
    }
}

/// A pedigree with all that is computed once.
#[derive(Clone, Debug)]
pub struct Relationships<A> {
    pedigree: Pedigree<A>,
    assumption: Assumption,
    diagonal: Diagonal,
}

/// What is worked out of each node.
#[derive(Clone, Debug)]
struct Diagonal {
    /// Diagonal of A: 1 + inbreeding.
    own: Vec<f64>,
    /// Diagonal of D.
    new: Vec<f64>,
    known: Vec<f64>,
    supposed: Vec<bool>,
}

impl Diagonal {
    fn with_capacity(count: usize) -> Self {
        Self {
            own: vec![1.0; count],
            new: Vec::with_capacity(count),
            known: Vec::with_capacity(count),
            supposed: Vec::with_capacity(count),
        }
    }

    /// Enters the next node; of an animal of which both parents are on record, `own` was found with one of them.
    fn enter(&mut self, at: usize, nodes: &Nodes, base: f64, ways: &mut Ways<'_>) {
        let weighed =
            |values: &[f64]| nodes.from(at).iter().map(|&(from, part)| part * values[from]).sum::<f64>();
        let (own, new, known) = match nodes.kind(at) {
            Kind::Founder => (1.0, 1.0 - base, 1.0),
            Kind::Young => {
                // How a parent of which nothing is known is related is assumed.
                let own = if nodes.both_known(at) { self.own[at] } else { 1.0 + base / 2.0 };
                // Each parent passes on a half, and new is what its other half would have been.
                (own, 1.0 - (weighed(&self.own) + nodes.unknown(at) * base) / 2.0, weighed(&self.known))
            }
            Kind::OneOf => {
                // If it is none of them, it is an animal of which nothing is known.
                let own = weighed(&self.own) + nodes.unknown(at);
                (own, own - base - ways.quadratic(at, &self.new), weighed(&self.known))
            }
        };
        let supposed =
            nodes.kind(at) == Kind::OneOf || nodes.from(at).iter().any(|(from, _)| self.supposed[*from]);
        self.own[at] = own;
        self.new.push(new);
        self.known.push(known);
        self.supposed.push(supposed);
    }
}

impl<A: Clone + Ord> Relationships<A> {
    /// Computes the inbreeding of every animal, with founders and unknown parents related as assumed.
    #[must_use]
    pub fn of(pedigree: Pedigree<A>, assumption: Assumption) -> Self {
        let nodes = &pedigree.nodes;
        let offspring = Offspring::of(nodes);
        let mut ways = Ways::of(nodes);
        let mut diagonal = Diagonal::with_capacity(nodes.len());
        let base = assumption.relationship();
        for at in 0..nodes.len() {
            diagonal.enter(at, nodes, base, &mut ways);
            let young = offspring.of_first(at);
            if !young.is_empty() {
                // What it shares with its mates takes nothing but what is new in its own ancestors.
                ways.follow(at, young.iter().map(|&(_, mate)| mate), &diagonal.new);
                for &(one, mate) in young {
                    diagonal.own[one] = 1.0 + (ways.shared(mate) + base) / 2.0;
                }
                ways.forget();
            }
        }
        Self { pedigree, assumption, diagonal }
    }

    /// Inbreeding of an animal, from 0 to 1. `None` for one that is not in the pedigree.
    #[must_use]
    pub fn inbreeding(&self, animal: &A) -> Option<Figure> {
        Some(self.inbreeding_at(*self.pedigree.places.get(animal)?))
    }

    pub(super) fn inbreeding_at(&self, at: usize) -> Figure {
        Figure {
            value: self.diagonal.own[at] - 1.0,
            known: self.diagonal.known[at],
            supposed: self.diagonal.supposed[at],
        }
    }

    /// Kinship of two animals, from 0 to 1; of an animal with itself (1 + inbreeding) / 2. `None` for one
    /// that is not in the pedigree.
    #[must_use]
    pub fn kinship(&self, one: &A, other: &A) -> Option<Figure> {
        let (at, with) = (*self.pedigree.places.get(one)?, *self.pedigree.places.get(other)?);
        let mut column = vec![0.0; self.diagonal.own.len()];
        column[at] = 1.0;
        self.times(&mut column);
        Some(self.figure(at, with, column[with]))
    }

    /// Kinship of one animal with every animal, itself included. As quick as a single [`kinship`].
    /// `None` for one that is not in the pedigree.
    ///
    /// [`kinship`]: Self::kinship
    #[must_use]
    pub fn kinships(&self, animal: &A) -> Option<BTreeMap<A, Figure>> {
        let at = *self.pedigree.places.get(animal)?;
        let mut column = vec![0.0; self.diagonal.own.len()];
        column[at] = 1.0;
        self.times(&mut column);
        let each = self.pedigree.places.iter();
        Some(each.map(|(other, &with)| (other.clone(), self.figure(at, with, column[with]))).collect())
    }

    /// The pedigree.
    #[must_use]
    pub const fn pedigree(&self) -> &Pedigree<A> {
        &self.pedigree
    }

    /// What is assumed of founders and unknown parents.
    #[must_use]
    pub const fn assumption(&self) -> Assumption {
        self.assumption
    }

    pub(super) fn known(&self, at: usize) -> f64 {
        self.diagonal.known[at]
    }

    pub(super) fn figure(&self, one: usize, other: usize, relationship: f64) -> Figure {
        Figure {
            value: relationship / 2.0,
            known: self.diagonal.known[one] * self.diagonal.known[other],
            supposed: self.diagonal.supposed[one] || self.diagonal.supposed[other],
        }
    }

    /// Multiplies a vector by A in place.
    pub(super) fn times(&self, vector: &mut [f64]) {
        let nodes = &self.pedigree.nodes;
        // All ways lead to founders or to unknown parents in the end, so what these have in common is in all.
        let common = self.assumption.relationship() * vector.iter().sum::<f64>();
        for at in (0..nodes.len()).rev() {
            for &(from, part) in nodes.from(at) {
                vector[from] += part * vector[at];
            }
        }
        for (value, new) in vector.iter_mut().zip(&self.diagonal.new) {
            *value *= new;
        }
        for at in 0..nodes.len() {
            vector[at] += nodes.from(at).iter().map(|&(from, part)| part * vector[from]).sum::<f64>();
        }
        for value in vector {
            *value += common;
        }
    }
}

impl Nodes {
    /// Whether it is an animal of which both parents are on record.
    fn both_known(&self, at: usize) -> bool {
        self.kind(at) == Kind::Young && self.from(at).len() == 2
    }
}

/// Animals of which both parents are on record, with the second parent, by the one of them that has more: the
/// fewer such parents, the fewer ways to follow.
struct Offspring {
    /// Where those of each node begin; one entry more than there are nodes.
    begins: Vec<usize>,
    young: Vec<(usize, usize)>,
}

impl Offspring {
    fn of(nodes: &Nodes) -> Self {
        let count = nodes.len();
        let mut all = vec![0_usize; count];
        for at in (0..count).filter(|&at| nodes.both_known(at)) {
            for &(from, _) in nodes.from(at) {
                all[from] += 1;
            }
        }
        let parents = |at: usize| match nodes.from(at) {
            &[(one, _), (other, _)] if nodes.both_known(at) => {
                Some(if all[one] >= all[other] { (one, other) } else { (other, one) })
            }
            _ => None,
        };
        let mut begins = vec![0; count + 1];
        for (first, _) in (0..count).filter_map(parents) {
            begins[first + 1] += 1;
        }
        for at in 0..count {
            begins[at + 1] += begins[at];
        }
        let mut next = begins.clone();
        let mut young = vec![(0, 0); begins[count]];
        for at in 0..count {
            if let Some((first, mate)) = parents(at) {
                young[next[first]] = (at, mate);
                next[first] += 1;
            }
        }
        Self { begins, young }
    }

    fn of_first(&self, at: usize) -> &[(usize, usize)] {
        &self.young[self.begins[at]..self.begins[at + 1]]
    }
}

#[cfg(test)]
mod tests {
    use super::super::pedigree::{Candidates, Entry, Origin, Parent};
    use super::*;
    use proptest::prelude::*;

    type Table = Vec<Vec<f64>>;

    /// The tabular method (Emik & Terrill 1949; Henderson 1976), as an independent way: entries must stand
    /// parents first.
    fn tabular(entries: &[Entry<usize>]) -> Table {
        let mut a: Table = vec![vec![0.0; entries.len()]; entries.len()];
        for (i, entry) in entries.iter().enumerate() {
            let parents: Vec<usize> = match &entry.origin {
                Origin::Founder => Vec::new(),
                Origin::Parents { sire, dam } => [sire, dam]
                    .into_iter()
                    .filter_map(|parent| match parent {
                        Parent::Known(parent) => Some(*parent),
                        Parent::Unknown | Parent::OneOf(_) => None,
                    })
                    .collect(),
            };
            let with_earlier: Vec<f64> =
                a[..i].iter().map(|row| parents.iter().map(|&p| row[p]).sum::<f64>() / 2.0).collect();
            for (j, mean) in with_earlier.into_iter().enumerate() {
                (a[i][j], a[j][i]) = (mean, mean);
            }
            a[i][i] = 1.0 + if let [sire, dam] = parents[..] { a[sire][dam] / 2.0 } else { 0.0 };
        }
        a
    }

    fn ours(entries: &[Entry<usize>], candidates: &[Candidates<usize>]) -> Table {
        let told = Relationships::of(Pedigree::build(entries, candidates).unwrap(), Assumption::Unrelated);
        let column = |i: usize| told.kinships(&i).unwrap().into_values().map(|f| 2.0 * f.value).collect();
        let table: Table = (0..entries.len()).map(column).collect();
        for (i, row) in table.iter().enumerate() {
            let inbreeding = told.inbreeding(&i).unwrap().value;
            assert!((row[i] - 1.0 - inbreeding).abs() < 1e-9, "diagonal of {i}");
        }
        table
    }

    fn close(one: &Table, other: &Table) -> bool {
        one.iter().flatten().zip(other.iter().flatten()).all(|(a, b)| (a - b).abs() < 1e-9)
    }

    /// Random pedigrees: three founders, then young of any two before them, unknown parents and selfing
    /// included.
    fn pedigree() -> impl Strategy<Value = Vec<Entry<usize>>> {
        prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), 0_u8..10), 1..14)
            .prop_map(|draws| {
                let mut entries: Vec<Entry<usize>> =
                    (0..3).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
                for (one, other, what) in draws {
                    let animal = entries.len();
                    let sire = if what == 0 { Parent::Unknown } else { Parent::Known(one.index(animal)) };
                    let dam = if what <= 1 { Parent::Unknown } else { Parent::Known(other.index(animal)) };
                    entries.push(Entry { animal, origin: Origin::Parents { sire, dam } });
                }
                entries
            })
    }

    proptest! {
        #[test]
        fn agrees_with_the_tabular_method_in_any_order(entries in pedigree(), seed in any::<u64>()) {
            let expected = tabular(&entries);
            prop_assert!(close(&ours(&entries, &[]), &expected));
            let mut mixed = entries;
            crate::chance::Chance::seeded(seed).shuffle(&mut mixed);
            prop_assert!(close(&ours(&mixed, &[]), &expected));
        }

        /// With parents that are one of several, figures are the means over all ways it may have been.
        #[test]
        fn open_parentages_are_means_over_all_ways(
            entries in pedigree(),
            open in prop::array::uniform2((any::<prop::sample::Index>(), any::<prop::sample::Index>(), 0.0..=1.0_f64)),
            share_litter in any::<bool>(),
        ) {
            // Two animals get an open sire; in a shared litter it is the same one.
            let youngest: Vec<usize> = (3..entries.len()).collect();
            prop_assume!(youngest.len() >= 4);
            let (first, second) = (youngest[youngest.len() - 2], youngest[youngest.len() - 1]);
            let candidates: Vec<Candidates<usize>> = open
                .iter()
                .map(|(a, b, share)| {
                    let (a, b) = (a.index(first), b.index(first));
                    Candidates { shares: vec![(a, *share), (b, 1.0 - *share)] }
                })
                .collect();
            let with = |sires: [Parent<usize>; 2]| {
                let mut entries = entries.clone();
                for (young, sire) in [first, second].into_iter().zip(sires) {
                    if let Origin::Parents { sire: of, .. } = &mut entries[young].origin {
                        *of = sire;
                    }
                }
                entries
            };
            let places = if share_litter { [0, 0] } else { [0, 1] };
            let told = ours(&with(places.map(Parent::OneOf)), &candidates);

            let n = entries.len();
            let mut mean: Table = vec![vec![0.0; n]; n];
            for (one, p) in &candidates[0].shares {
                for (other, q) in &candidates[1].shares {
                    let (sires, weight) = if share_litter { ([*one, *one], *p * q) } else { ([*one, *other], p * q) };
                    let table = tabular(&with(sires.map(Parent::Known)));
                    for (sum, value) in mean.iter_mut().flatten().zip(table.iter().flatten()) {
                        *sum += weight * value;
                    }
                }
            }
            prop_assert!(close(&told, &mean));
        }
    }

    #[test]
    fn what_is_unknown_makes_a_lower_bound_and_a_founder_does_not() {
        let unknown = Origin::Parents { sire: Parent::Unknown, dam: Parent::Unknown };
        let of = |sire, dam| Origin::Parents { sire: Parent::Known(sire), dam };
        let origins = [
            Origin::Founder,
            Origin::Founder,
            unknown,
            of(0, Parent::Known(1)),
            of(0, Parent::Known(2)),
            of(0, Parent::OneOf(0)),
        ];
        let entries: Vec<Entry<usize>> =
            origins.into_iter().zip(0..).map(|(origin, animal)| Entry { animal, origin }).collect();
        // Dam of 5: 1 with three in five, one that nobody knows with two in five.
        let candidates = [Candidates { shares: vec![(1, 0.6)] }];
        let told = Relationships::of(Pedigree::build(&entries, &candidates).unwrap(), Assumption::Unrelated);
        let known = |animal| told.inbreeding(&animal).unwrap().known;
        for (animal, expected) in [(0, 1.0), (2, 0.0), (3, 1.0), (4, 0.5), (5, 0.8)] {
            assert!((known(animal) - expected).abs() < 1e-12, "{animal}");
        }
        let pair = told.kinship(&3, &4).unwrap();
        assert!(pair.is_lower_bound() && !pair.supposed && (pair.value - 0.125).abs() < 1e-12);
        let pair = told.kinship(&3, &5).unwrap();
        // Half sibs by 0, and with three in five by 1 as well.
        assert!(pair.supposed && (pair.value - (0.125 + 0.6 * 0.125)).abs() < 1e-12);
        assert!(!told.kinship(&0, &1).unwrap().is_lower_bound());
        assert_eq!(told.kinship(&0, &99), None);
    }
}
