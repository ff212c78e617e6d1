//! Who is seen with whom, and who is seen alone.
//!
//! Source: Cairns & Schwager 1987 (Animal Behaviour 35:1454) for both indices.

use super::rates::{self, Share};
use serde::Serialize;
use std::collections::BTreeSet;

/// One scan of a group: the parties that were seen, each a set of animals that were together. An animal
/// in none of them was not seen.
pub type Scan<A> = Vec<BTreeSet<A>>;

/// In how many scans two animals were seen together and apart.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Dyad {
    /// Both, in one party.
    pub together: u32,
    /// Both, in different parties.
    pub apart: u32,
    /// Only the first.
    pub first_only: u32,
    /// Only the second.
    pub second_only: u32,
}

impl Dyad {
    /// Counts the scans of two animals.
    #[must_use]
    pub fn of<A: Ord>(scans: &[Scan<A>], first: &A, second: &A) -> Self {
        let mut dyad = Self::default();
        for scan in scans {
            let party = |animal| scan.iter().find(|party| party.contains(animal));
            match (party(first), party(second)) {
                (Some(one), Some(_)) if one.contains(second) => dyad.together += 1,
                (Some(_), Some(_)) => dyad.apart += 1,
                (Some(_), None) => dyad.first_only += 1,
                (None, Some(_)) => dyad.second_only += 1,
                (None, None) => {}
            }
        }
        dyad
    }

    /// Simple ratio index: scans together of all scans in which either was seen. Right when every animal
    /// is as easily seen as any other. `None` where neither ever was.
    #[must_use]
    pub fn simple_ratio(&self) -> Option<f64> {
        self.index(1.0)
    }

    /// Half-weight index: scans in which only one was seen count half. Nearer the truth when two are more
    /// easily missed apart than together. `None` where neither ever was seen.
    #[must_use]
    pub fn half_weight(&self) -> Option<f64> {
        self.index(0.5)
    }

    fn index(&self, weight: f64) -> Option<f64> {
        let alone = f64::from(self.first_only) + f64::from(self.second_only);
        let seen = f64::from(self.together) + f64::from(self.apart) + weight * alone;
        (seen > 0.0).then(|| f64::from(self.together) / seen)
    }
}

/// How one animal stands among its companions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Company<A> {
    /// Simple ratio index with each companion with which it could be computed.
    pub ties: Vec<(A, f64)>,
    /// Sum of those indices.
    pub strength: f64,
    /// Share of the scans that saw it in which it was in nobody's company; `None` where none saw it.
    pub alone: Option<Share>,
}

/// The company of one animal of a group over some scans.
#[must_use]
pub fn company<A: Clone + Ord>(scans: &[Scan<A>], animal: &A, group: &[A]) -> Company<A> {
    let ties: Vec<(A, f64)> = group
        .iter()
        .filter(|other| *other != animal)
        .filter_map(|other| Some((other.clone(), Dyad::of(scans, animal, other).simple_ratio()?)))
        .collect();
    let (mut seen, mut alone) = (0, 0);
    for party in scans.iter().flatten().filter(|party| party.contains(animal)) {
        seen += 1;
        alone += u32::from(party.len() == 1);
    }
    Company { strength: ties.iter().map(|(_, tie)| tie).sum(), ties, alone: rates::share(alone, seen) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn scan(parties: &[&[u8]]) -> Scan<u8> {
        parties.iter().map(|party| party.iter().copied().collect()).collect()
    }

    /// Ten scans together, four with only the first, six with only the second, two apart: 10/22 and 10/17,
    /// by the definitions.
    #[test]
    fn indices_by_their_definitions() {
        let mut scans = vec![scan(&[&[1, 2, 3]]); 10];
        scans.extend(vec![scan(&[&[1, 3]]); 4]);
        scans.extend(vec![scan(&[&[2]]); 6]);
        scans.extend(vec![scan(&[&[1], &[2, 3]]); 2]);
        scans.push(scan(&[&[3]]));
        let dyad = Dyad::of(&scans, &1, &2);
        assert_eq!(dyad, Dyad { together: 10, apart: 2, first_only: 4, second_only: 6 });
        assert!((dyad.simple_ratio().unwrap() - 0.454_545_454_5).abs() < 1e-9);
        assert!((dyad.half_weight().unwrap() - 0.588_235_294_1).abs() < 1e-9);

        let told = company(&scans, &2, &[1, 2, 3]);
        assert_eq!(told.alone.unwrap(), rates::share(6, 18).unwrap());
        assert_eq!(told.ties.len(), 2);
    }

    #[test]
    fn animals_never_seen_have_no_index() {
        assert_eq!(Dyad::of(&[scan(&[&[3]])], &1, &2).simple_ratio(), None);
        let told = company(&[scan(&[&[3]])], &1, &[1, 2, 3]);
        assert_eq!((told.alone, told.ties.len()), (None, 1), "with 3, which was seen without it");
    }

    proptest! {
        #[test]
        fn indices_are_shares_and_the_same_from_both_sides(
            places in prop::collection::vec(prop::array::uniform4(0_usize..4), 1..40),
        ) {
            // Each animal is in one of three parties, or (at 3) not seen.
            let scans: Vec<Scan<u8>> = places
                .iter()
                .map(|places| {
                    let member = |party| (0..4_u8).filter(move |&a| places[usize::from(a)] == party);
                    (0..3).map(|party| member(party).collect()).collect()
                })
                .collect();
            let (one, other) = (Dyad::of(&scans, &0, &1), Dyad::of(&scans, &1, &0));
            prop_assert_eq!(one.simple_ratio(), other.simple_ratio());
            if let (Some(simple), Some(half)) = (one.simple_ratio(), one.half_weight()) {
                prop_assert!((0.0..=1.0).contains(&simple) && simple <= half + 1e-12 && half <= 1.0);
            }
        }
    }
}
