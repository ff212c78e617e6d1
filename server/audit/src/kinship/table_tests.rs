//! Bounds against all histories that fit, and figures against the indirect way.

use super::super::pedigree::{Candidates, Entry, Origin, Parent, Pedigree};
use super::*;
use proptest::prelude::*;

fn table(entries: &[Entry<usize>], candidates: &[Candidates<usize>], assumption: Assumption) -> Table {
    let told = Relationships::of(Pedigree::build(entries, candidates).unwrap(), assumption);
    let group: Vec<usize> = entries.iter().map(|entry| entry.animal).collect();
    let table = Table::of(&told, &group).unwrap();
    for &one in &group {
        let row = told.kinships(&one).unwrap();
        for &other in &group {
            let cell = table.kinship(one, other).unwrap();
            assert!((cell.figure.value - row[&other].value).abs() < 1e-12, "{one} {other}");
            assert!(cell.lowest <= cell.figure.value + 1e-12 && cell.figure.value <= cell.highest + 1e-12);
        }
        let inbreeding = table.inbreeding(one).unwrap();
        assert!((inbreeding.figure.value - told.inbreeding(&one).unwrap().value).abs() < 1e-12);
    }
    table
}

/// Three founders, then young of two different animals before them; what is 0 leaves a parent unknown, what is 1
/// makes the sire one of two.
fn pedigree() -> impl Strategy<Value = (Vec<Entry<usize>>, Vec<Candidates<usize>>)> {
    let index = any::<prop::sample::Index>;
    prop::collection::vec((index(), index(), index(), 0_u8..6, 0.1..=0.9_f64), 1..7).prop_map(|draws| {
        let mut entries: Vec<Entry<usize>> =
            (0..3).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
        let mut candidates = Vec::new();
        for (one, other, third, what, share) in draws {
            let animal = entries.len();
            let (sire, dam) = (one.index(animal), other.index(animal));
            let sire = match what {
                0 => Parent::Unknown,
                1 => {
                    candidates
                        .push(Candidates { shares: vec![(sire, share), (third.index(animal), 1.0 - share)] });
                    Parent::OneOf(candidates.len() - 1)
                }
                _ => Parent::Known(sire),
            };
            let dam = if what == 2 { Parent::Unknown } else { Parent::Known(dam) };
            entries.push(Entry { animal, origin: Origin::Parents { sire, dam } });
        }
        (entries, candidates)
    })
}

/// Every history: each open sire is each of its candidates, each unknown parent somebody unrelated, any founder, or
/// one and the same stranger.
fn histories(entries: &[Entry<usize>], candidates: &[Candidates<usize>]) -> Vec<Vec<Entry<usize>>> {
    const STRANGER: usize = 1_000;
    let mut all = vec![vec![Entry { animal: STRANGER, origin: Origin::Founder }]];
    for (n, entry) in entries.iter().enumerate() {
        let ways = |parent: &Parent<usize>, place: usize| match parent {
            Parent::Known(one) => vec![*one],
            Parent::OneOf(place) => candidates[*place].shares.iter().map(|(one, _)| *one).collect(),
            Parent::Unknown => vec![2_000 + 2 * n + place, STRANGER, 0, 1],
        };
        let origins: Vec<Option<(usize, usize)>> = match &entry.origin {
            Origin::Founder => vec![None],
            Origin::Parents { sire, dam } => {
                let (sires, dams) = (ways(sire, 0), ways(dam, 1));
                sires.iter().flat_map(|sire| dams.iter().map(move |dam| Some((*sire, *dam)))).collect()
            }
        };
        all = all
            .iter()
            .flat_map(|so_far| {
                origins.iter().map(move |origin| {
                    let mut next = so_far.clone();
                    let origin = match *origin {
                        None => Origin::Founder,
                        Some((sire, dam)) => {
                            for one in [sire, dam].into_iter().filter(|one| *one >= 2_000) {
                                next.push(Entry { animal: one, origin: Origin::Founder });
                            }
                            Origin::Parents { sire: Parent::Known(sire), dam: Parent::Known(dam) }
                        }
                    };
                    next.push(Entry { animal: entry.animal, origin });
                    next
                })
            })
            .collect();
    }
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn every_history_that_fits_lies_within_the_bounds((entries, candidates) in pedigree()) {
        let told = table(&entries, &candidates, Assumption::Unrelated);
        let histories = histories(&entries, &candidates);
        prop_assume!(histories.len() <= 600);
        for history in histories {
            let so = Relationships::of(Pedigree::build(&history, &[]).unwrap(), Assumption::Unrelated);
            for one in 0..entries.len() {
                let row = so.kinships(&one).unwrap();
                for other in 0..entries.len() {
                    let (cell, was) = (told.kinship(one, other).unwrap(), row[&other].value);
                    prop_assert!(
                        cell.lowest <= was + 1e-12 && was <= cell.highest + 1e-12,
                        "{one} {other}: {was} not in {cell:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn both_ways_agree_whatever_is_assumed((entries, candidates) in pedigree(), kinship in 0.0..=0.5_f64) {
        table(&entries, &candidates, Assumption::Alike(kinship));
    }
}

#[test]
fn bounds_are_as_wide_as_what_is_unknown() {
    use Parent::{Known, OneOf, Unknown};
    let young = |animal, sire, dam| Entry { animal, origin: Origin::Parents { sire, dam } };
    let mut entries: Vec<Entry<usize>> =
        (0..3).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
    entries.extend([young(3, Known(0), Known(1)), young(4, Unknown, Known(1)), young(5, OneOf(0), Known(1))]);
    let candidates = [Candidates { shares: vec![(0, 0.5), (2, 0.5)] }];
    let told = table(&entries, &candidates, Assumption::Unrelated);
    let cell = |one, other| {
        let cell = told.kinship(one, other).unwrap();
        (cell.lowest, cell.figure.value, cell.highest)
    };
    assert_eq!(cell(0, 3), (0.25, 0.25, 0.25), "nothing is unknown");
    // A half sib by the dam; by a sire as near as can be, three eighths.
    assert_eq!(cell(3, 4), (0.125, 0.125, 0.375));
    // Half or full sib.
    assert_eq!(cell(3, 5), (0.125, 0.1875, 0.25));
    assert_eq!(told.inbreeding(4).map(|one| (one.lowest, one.highest)), Some((0.0, 0.5)));
    assert_eq!(told.kinship(0, 6), None);
    let related = Relationships::of(Pedigree::build(&entries, &candidates).unwrap(), Assumption::Unrelated);
    assert_eq!(Table::of(&related, &[0, 9]), Err(NoTable::NotInPedigree(1)));
}

#[test]
fn a_table_does_not_outgrow_the_memory() {
    let entries: Vec<Entry<usize>> =
        (0..=MOST).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
    let told = Relationships::of(Pedigree::build(&entries, &[]).unwrap(), Assumption::Unrelated);
    let all: Vec<usize> = (0..=MOST).collect();
    assert_eq!(Table::of(&told, &all), Err(NoTable::TooMany(MOST + 1)));
}

#[test]
fn assumed_kinship_of_founders_is_in_what_comes_of_them() {
    let mut entries: Vec<Entry<usize>> =
        (0..4).map(|animal| Entry { animal, origin: Origin::Founder }).collect();
    let young = |animal, sire, dam| Entry {
        animal,
        origin: Origin::Parents { sire: Parent::Known(sire), dam: Parent::Known(dam) },
    };
    entries.extend([young(4, 0, 1), young(5, 2, 3)]);
    let told = table(&entries, &[], Assumption::Alike(0.1));
    assert!((told.kinship(4, 5).unwrap().figure.value - 0.1).abs() < 1e-12);
    assert!((told.inbreeding(4).unwrap().figure.value - 0.1).abs() < 1e-12);
    assert!((told.kinship(0, 4).unwrap().figure.value - 0.3).abs() < 1e-12);
}
