//! Who comes from whom, checked and put in an order in which parents come before their young.
//!
//! A parent that is one of several is a node of its own between the candidates and the young: its
//! kinship to others is the mean of theirs, and to itself the mean of theirs to themselves (Henderson
//! 1988, J Anim Sci 66:1614, for the mean; that young of one litter share the same unknown sire needs the
//! node). So every figure is the exact mean over all ways in which it may have been.

use super::doubts::{Doubt, Life, doubts};
use std::collections::{BTreeMap, BTreeSet};

/// One animal of a pedigree.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry<A> {
    /// Which.
    pub animal: A,
    /// Where it comes from.
    pub origin: Origin<A>,
}

/// Where an animal comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum Origin<A> {
    /// From outside, taken to be unrelated to all other founders and not inbred.
    Founder,
    /// From these parents.
    Parents {
        /// Its father.
        sire: Parent<A>,
        /// Its mother.
        dam: Parent<A>,
    },
}

/// What is known of a parent.
#[derive(Clone, Debug, PartialEq)]
pub enum Parent<A> {
    /// Nothing.
    Unknown,
    /// Which it is.
    Known(A),
    /// It is one of the candidates in this place of the list. Young that name the same place have the
    /// same parent, whichever it is.
    OneOf(usize),
}

/// Several animals of which one is the parent.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidates<A> {
    /// Each with its probability. What is missing to 1 is the probability that it was none of them.
    pub shares: Vec<(A, f64)>,
}

/// Why a pedigree cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Flaw<A> {
    /// An animal is entered twice.
    #[error("{0:?} is entered twice")]
    Twice(A),
    /// A parent is not entered itself.
    #[error("{young:?} has {parent:?} as a parent, which is not in the pedigree")]
    NotEntered {
        /// Whose parent.
        young: A,
        /// The parent.
        parent: A,
    },
    /// A candidate is not entered.
    #[error("{candidate:?} is a candidate in place {place}, but not in the pedigree")]
    CandidateNotEntered {
        /// Place in the list of candidates.
        place: usize,
        /// The candidate.
        candidate: A,
    },
    /// There are no candidates in that place.
    #[error("{young:?} has one of the candidates in place {place} as a parent, but that place is empty")]
    NoCandidates {
        /// Whose parent.
        young: A,
        /// Place in the list of candidates.
        place: usize,
    },
    /// Shares below 0, or of more than 1 together.
    #[error("the shares of the candidates in place {place} are below 0 or more than 1 together")]
    Shares {
        /// Place in the list of candidates.
        place: usize,
    },
    /// A parent cannot be one, by its sex or by dates.
    #[error("{0}")]
    CannotBe(Doubt<A>),
    /// These animals are each other's ancestors.
    #[error("{0:?} are their own ancestors")]
    OwnAncestors(Vec<A>),
}

/// A pedigree that can be computed with.
#[derive(Clone, Debug)]
pub struct Pedigree<A> {
    /// Place of each animal among the nodes.
    pub(super) places: BTreeMap<A, usize>,
    /// Animals and open parentages, each after all it comes from: level by level, those of one parent
    /// beside one another.
    pub(super) nodes: Nodes,
}

/// Animals, and parents that are one of several, in flat lists.
#[derive(Clone, Debug, Default)]
pub(super) struct Nodes {
    kinds: Vec<Kind>,
    /// Steps of the longest way back to a node that comes from none.
    levels: Vec<usize>,
    /// Where the parts of a node begin in `parts`; one entry more than there are nodes.
    begins: Vec<usize>,
    /// What each comes from: a half from each known parent, or each candidate's share.
    parts: Vec<(usize, f64)>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Founder,
    Young,
    OneOf,
}

impl Nodes {
    pub(super) const fn len(&self) -> usize {
        self.kinds.len()
    }

    pub(super) fn kind(&self, at: usize) -> Kind {
        self.kinds[at]
    }

    pub(super) fn level(&self, at: usize) -> usize {
        self.levels[at]
    }

    pub(super) fn from(&self, at: usize) -> &[(usize, f64)] {
        &self.parts[self.begins[at]..self.begins[at + 1]]
    }

    /// What part of it comes from parents of which nothing is known.
    pub(super) fn unknown(&self, at: usize) -> f64 {
        match self.kinds[at] {
            Kind::Founder => 0.0,
            Kind::Young | Kind::OneOf => {
                (1.0 - self.from(at).iter().map(|(_, part)| part).sum::<f64>()).max(0.0)
            }
        }
    }

    fn push(&mut self, kind: Kind, level: usize, from: impl Iterator<Item = (usize, f64)>) {
        if self.begins.is_empty() {
            self.begins.push(0);
        }
        self.kinds.push(kind);
        self.levels.push(level);
        self.parts.extend(from);
        self.begins.push(self.parts.len());
    }

    /// Only these nodes, which must name all that they come from, in their order.
    pub(super) fn only(&self, kept: &[usize]) -> Self {
        let mut nodes = Self::default();
        for &at in kept {
            let place = |from: usize| kept.binary_search(&from).unwrap_or_default();
            nodes.push(
                self.kinds[at],
                self.levels[at],
                self.from(at).iter().map(|&(from, part)| (place(from), part)),
            );
        }
        nodes
    }
}

impl<A: Clone + Ord> Pedigree<A> {
    /// Builds a pedigree. Entries may stand in any order; an animal may be both parents of its young.
    ///
    /// # Errors
    /// Everything that stands in the way.
    pub fn build(entries: &[Entry<A>], candidates: &[Candidates<A>]) -> Result<Self, Vec<Flaw<A>>> {
        let mut flaws = Vec::new();
        let mut given: BTreeMap<&A, usize> = BTreeMap::new();
        for (at, entry) in entries.iter().enumerate() {
            if given.insert(&entry.animal, at).is_some() {
                flaws.push(Flaw::Twice(entry.animal.clone()));
            }
        }
        // Nodes as given: entries first, then open parentages.
        let mut nodes = Nodes::default();
        for entry in entries {
            let (kind, parents) = match &entry.origin {
                Origin::Founder => (Kind::Founder, [None, None]),
                Origin::Parents { sire, dam } => (Kind::Young, [Some(sire), Some(dam)]),
            };
            let mut from = Vec::new();
            for parent in parents.into_iter().flatten() {
                match parent {
                    Parent::Unknown => {}
                    Parent::Known(parent) => match given.get(parent) {
                        Some(&at) => from.push((at, 0.5)),
                        None => {
                            let (young, parent) = (entry.animal.clone(), parent.clone());
                            flaws.push(Flaw::NotEntered { young, parent });
                        }
                    },
                    Parent::OneOf(place) if *place < candidates.len() => {
                        from.push((entries.len() + place, 0.5));
                    }
                    Parent::OneOf(place) => {
                        flaws.push(Flaw::NoCandidates { young: entry.animal.clone(), place: *place });
                    }
                }
            }
            nodes.push(kind, 0, from.into_iter());
        }
        for (place, candidates) in candidates.iter().enumerate() {
            let sum: f64 = candidates.shares.iter().map(|(_, share)| share).sum();
            // Shares that were computed to sum to 1 may miss it by rounding.
            if candidates.shares.iter().any(|(_, share)| *share < 0.0) || !(0.0..=1.0 + 1e-9).contains(&sum) {
                flaws.push(Flaw::Shares { place });
            }
            let mut from = Vec::new();
            for (candidate, share) in &candidates.shares {
                match given.get(candidate) {
                    // Who is it with a share of nothing is none of them.
                    Some(&at) if *share > 0.0 => from.push((at, *share)),
                    Some(_) => {}
                    None => flaws.push(Flaw::CandidateNotEntered { place, candidate: candidate.clone() }),
                }
            }
            nodes.push(Kind::OneOf, 0, from.into_iter());
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let (order, levels) = in_order(&nodes).map_err(|circle| {
            let names = circle.into_iter().filter_map(|at| entries.get(at)).map(|entry| entry.animal.clone());
            vec![Flaw::OwnAncestors(names.collect())]
        })?;
        let mut place_of = vec![0; nodes.len()];
        for (place, &at) in order.iter().enumerate() {
            place_of[at] = place;
        }
        let mut placed = Nodes::default();
        for &at in &order {
            let from = nodes.from(at).iter().map(|&(from, part)| (place_of[from], part));
            placed.push(nodes.kind(at), levels[at], from);
        }
        Ok(Self {
            places: given.into_iter().map(|(animal, at)| (animal.clone(), place_of[at])).collect(),
            nodes: placed,
        })
    }

    /// Builds a pedigree of animals of whose lives something is known, as [`build`](Self::build) does.
    /// `conception_days` is as in [`doubts`](super::doubts::doubts()).
    ///
    /// # Errors
    /// Everything that stands in the way, with each parent that by its sex or by dates cannot be one.
    pub fn of_lives(
        entries: &[Entry<A>],
        candidates: &[Candidates<A>],
        lives: &BTreeMap<A, Life>,
        conception_days: u16,
    ) -> Result<Self, Vec<Flaw<A>>> {
        let cannot: Vec<Flaw<A>> =
            doubts(entries, candidates, lives, conception_days).into_iter().map(Flaw::CannotBe).collect();
        match Self::build(entries, candidates) {
            Ok(pedigree) if cannot.is_empty() => Ok(pedigree),
            Ok(_) => Err(cannot),
            Err(flaws) => Err(flaws.into_iter().chain(cannot).collect()),
        }
    }

    /// All animals, in their own order.
    pub fn animals(&self) -> impl Iterator<Item = &A> {
        self.places.keys()
    }
}

/// The nodes level by level, so that each comes after all it comes from, and the level of each; or, where
/// some come from themselves, those that lie on circles.
fn in_order(nodes: &Nodes) -> Result<(Vec<usize>, Vec<usize>), BTreeSet<usize>> {
    let count = nodes.len();
    // Who comes from whom, the other way round: in one list, with where the young of each begin.
    let mut begins = vec![0_usize; count + 1];
    for &(from, _) in &nodes.parts {
        begins[from + 1] += 1;
    }
    for at in 0..count {
        begins[at + 1] += begins[at];
    }
    let mut next_of = begins.clone();
    let mut young = vec![0; nodes.parts.len()];
    for at in 0..count {
        for &(from, _) in nodes.from(at) {
            young[next_of[from]] = at;
            next_of[from] += 1;
        }
    }
    let mut waits_for: Vec<usize> = (0..count).map(|at| nodes.from(at).len()).collect();
    let young = |at: usize| &young[begins[at]..begins[at + 1]];
    let mut levels = vec![0; count];
    let mut order: Vec<usize> = (0..count).filter(|&at| waits_for[at] == 0).collect();
    let mut next = 0;
    while let Some(&at) = order.get(next) {
        next += 1;
        for &one in young(at) {
            levels[one] = levels[one].max(levels[at] + 1);
            waits_for[one] -= 1;
            if waits_for[one] == 0 {
                order.push(one);
            }
        }
    }
    if order.len() == count {
        let parent = |at: usize, n: usize| nodes.from(at).get(n).map(|(from, _)| *from);
        // Who has offspring is looked at again and again, and so lies together.
        order
            .sort_unstable_by_key(|&at| (levels[at], young(at).is_empty(), parent(at, 0), parent(at, 1), at));
        return Ok((order, levels));
    }
    // What is left lies on a circle or descends from one; strip what has no descendants left.
    let mut left: BTreeSet<usize> = (0..count).filter(|&at| waits_for[at] > 0).collect();
    let mut bare: Vec<usize> =
        left.iter().copied().filter(|&at| !young(at).iter().any(|one| left.contains(one))).collect();
    while let Some(at) = bare.pop() {
        left.remove(&at);
        let from = nodes.from(at).iter().map(|(from, _)| *from);
        bare.extend(from.filter(|&at| left.contains(&at) && !young(at).iter().any(|one| left.contains(one))));
    }
    Err(left)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn young(
        animal: &'static str,
        sire: Parent<&'static str>,
        dam: Parent<&'static str>,
    ) -> Entry<&'static str> {
        Entry { animal, origin: Origin::Parents { sire, dam } }
    }

    fn founder(animal: &'static str) -> Entry<&'static str> {
        Entry { animal, origin: Origin::Founder }
    }

    #[test]
    fn everything_that_stands_in_the_way_is_told() {
        use Parent::{Known, OneOf, Unknown};
        let entries = [
            founder("Ash"),
            founder("Ash"),
            young("Birch", Known("Nobody"), Unknown),
            young("Cedar", OneOf(0), OneOf(2)),
        ];
        let candidates = [
            Candidates { shares: vec![("Ash", 0.7), ("Stranger", 0.4)] },
            Candidates { shares: vec![("Ash", -0.1)] },
        ];
        let told: Vec<String> =
            Pedigree::build(&entries, &candidates).unwrap_err().iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            [
                "\"Ash\" is entered twice",
                "\"Birch\" has \"Nobody\" as a parent, which is not in the pedigree",
                "\"Cedar\" has one of the candidates in place 2 as a parent, but that place is empty",
                "the shares of the candidates in place 0 are below 0 or more than 1 together",
                "\"Stranger\" is a candidate in place 0, but not in the pedigree",
                "the shares of the candidates in place 1 are below 0 or more than 1 together",
            ]
        );
    }

    #[test]
    fn nobody_is_its_own_ancestor() {
        use Parent::{Known, OneOf, Unknown};
        let entries = [
            founder("Ash"),
            young("Birch", OneOf(0), Known("Ash")),
            young("Cedar", Known("Birch"), Unknown),
            young("Dogwood", Known("Cedar"), Known("Ash")),
        ];
        let candidates = [Candidates { shares: vec![("Ash", 0.5), ("Cedar", 0.5)] }];
        let flaws = Pedigree::build(&entries, &candidates).unwrap_err();
        // Dogwood comes from the circle and is not on it.
        assert_eq!(flaws, [Flaw::OwnAncestors(vec!["Birch", "Cedar"])]);
    }
}
