//! Kinship and inbreeding against published pedigrees.
//!
//! Sources: Mrode, Linear Models for the Prediction of Animal Breeding Values, table 2.1 and the example
//! of chapter 4 (its printed inverse); Fernando & Grossman 1990 (Theor Appl Genet 80:75), table 1.
//! Relationships recomputed exactly by the tabular method with Python fractions and two genetics
//! libraries. Relations of non-inbred kin: Wright 1922; Falconer & Mackay 1996, ch. 5. Line of full sibs:
//! F = (1 + 2F' + F'')/4 (Wright 1921). Mean kinships: derived from the named pedigrees. 10,000 random pedigrees:
//! the plain recursion in numpy, by the script beside this file.

use crate::table::{self, agrees};
use holt_audit::chance::Chance;
use holt_audit::kinship::population::population;
use holt_audit::kinship::relationship::Relationships;
use holt_audit::kinship::{Assumption, Entry, Origin, Parent, Pedigree, Table};

const NAMES: [&str; 3] = ["mrode_t2_1", "mrode_ex4_1", "fernando_grossman1990_t1"];

/// An animal without any parent given is a founder of the published example.
fn young(animal: usize, sire: usize, dam: usize) -> Entry<usize> {
    let parent = |parent| if parent == 0 { Parent::Unknown } else { Parent::Known(parent) };
    let origin = if sire + dam == 0 {
        Origin::Founder
    } else {
        Origin::Parents { sire: parent(sire), dam: parent(dam) }
    };
    Entry { animal, origin }
}

fn related(entries: &[Entry<usize>]) -> Relationships<usize> {
    Relationships::of(Pedigree::build(entries, &[]).unwrap(), Assumption::Unrelated)
}

fn published(name: &str) -> (table::Table, Relationships<usize>) {
    let table = table::read(&format!("ped_{name}"));
    let whole = |text: &str| text.parse().unwrap();
    let entries: Vec<Entry<usize>> = table
        .rows()
        .map(|row| young(whole(row.text("id")), whole(row.text("sire")), whole(row.text("dam"))))
        .collect();
    let relationships = related(&entries);
    (table, relationships)
}

#[test]
fn inbreeding_and_relationships_of_published_pedigrees() {
    for name in NAMES {
        let (table, told) = published(name);
        for row in table.rows() {
            let animal: usize = row.text("id").parse().unwrap();
            agrees(1.0 + told.inbreeding(&animal).unwrap().value, 1.0 + row.number("F"), 1e-14);
            for (other, kinship) in told.kinships(&animal).unwrap() {
                let relationship = 2.0 * kinship.value;
                assert!(
                    (relationship - row.number(&format!("a_{other}"))).abs() < 1e-14,
                    "{name} {animal} {other}"
                );
            }
        }
    }
}

/// The table of relationships times its published inverse is the unit matrix.
#[test]
fn relationships_undo_the_published_inverse() {
    for name in NAMES {
        let (_, told) = published(name);
        let path = format!("{}/../../tests/external/tables/ped_{name}_inv.csv", env!("CARGO_MANIFEST_DIR"));
        let inverse: Vec<Vec<f64>> = std::fs::read_to_string(path)
            .unwrap()
            .lines()
            .filter(|line| !line.starts_with('#'))
            .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
            .collect();
        for (i, row) in inverse.iter().enumerate() {
            for j in 0..inverse.len() {
                let column = told.kinships(&(j + 1)).unwrap();
                let product: f64 = row.iter().zip(1..).map(|(cell, k)| cell * 2.0 * column[&k].value).sum();
                let unit = f64::from(u8::from(i == j));
                assert!((product - unit).abs() < 1e-8, "{name} {i} {j}: {product}");
            }
        }
    }
}

#[test]
fn kinship_of_relations() {
    // 1–8 are founders; 9 and 10 are full sibs of 1 × 2, 11 and 12 of 3 × 4, 13 is a half sib of 9 by 1.
    let mut entries: Vec<Entry<usize>> = (1..=8).map(|animal| young(animal, 0, 0)).collect();
    for (animal, sire, dam) in [
        (9, 1, 2),
        (10, 1, 2),
        (11, 3, 4),
        (12, 3, 4),
        (13, 1, 5),
        (14, 9, 6),
        (15, 10, 7),
        (16, 9, 11),
        (17, 10, 12),
        (18, 14, 8),
        (19, 15, 5),
        (20, 16, 6),
        (21, 17, 7),
    ] {
        entries.push(young(animal, sire, dam));
    }
    let told = related(&entries);
    let pair = |relation: &str| match relation {
        "self" => (1, 1),
        "parent-offspring" => (1, 9),
        "full sibs" => (9, 10),
        "half sibs" => (9, 13),
        "grandparent-grandchild" => (1, 14),
        "uncle/aunt-niece/nephew" => (10, 14),
        "double first cousins" => (16, 17),
        "first cousins" => (14, 15),
        "first cousins once removed" => (14, 19),
        "double second cousins" => (20, 21),
        "second cousins" => (18, 19),
        "unrelated" => (3, 9),
        other => panic!("{other}?"),
    };
    for row in table::read("kinship_relations").rows() {
        let (one, other) = pair(row.text("relation"));
        let kinship = told.kinship(&one, &other).unwrap();
        assert!((kinship.value - row.number("kinship")).abs() < 1e-15, "{}", row.text("relation"));
    }
}

#[test]
fn a_line_of_full_sibs() {
    let mut entries = vec![young(1, 0, 0), young(2, 0, 0)];
    // Generation 0 are the first two sibs: not inbred.
    let rows = table::read("fullsib_inbreeding");
    for generation in 0..rows.rows().count() {
        let (sire, dam) = (entries.len() - 1, entries.len());
        entries.push(young(2 * generation + 3, sire, dam));
        entries.push(young(2 * generation + 4, sire, dam));
    }
    let told = related(&entries);
    for row in rows.rows() {
        let generation: usize = row.text("generation").parse().unwrap();
        agrees(1.0 + told.inbreeding(&(2 * generation + 3)).unwrap().value, 1.0 + row.number("F"), 1e-14);
    }
}

#[test]
fn mean_kinship_gene_diversity_and_founder_genomes() {
    for row in table::read("mean_kinship").rows() {
        let told = match row.text("pedigree") {
            name @ ("mrode_t2_1" | "mrode_ex4_1") => published(name).1,
            _ => related(&[
                young(1, 0, 0),
                young(2, 0, 0),
                young(3, 1, 2),
                young(4, 1, 2),
                young(5, 1, 2),
                young(6, 1, 2),
            ]),
        };
        let living: Vec<usize> = row.text("living_set").split(' ').map(|n| n.parse().unwrap()).collect();
        let told = population(&told, &living).unwrap();
        let animal: usize = row.text("animal").parse().unwrap();
        agrees(told.mean_kinship[&animal].value, row.number("mk"), 1e-12);
        agrees(told.mean, row.number("pop_mk"), 1e-12);
        agrees(told.gene_diversity, row.number("gene_diversity"), 1e-12);
        agrees(told.founder_genomes, row.number("fge"), 1e-12);
    }
}

/// What `pedigrees.py` draws.
fn drawn(seed: u64) -> Vec<Entry<usize>> {
    let mut chance = Chance::seeded(seed);
    (1..=5 + chance.below(56))
        .map(|animal| {
            let first = animal < 4 || chance.below(10) == 0;
            let mut parent = || if first { 0 } else { chance.below(animal) };
            let sire = parent();
            young(animal, sire, parent())
        })
        .collect()
}

/// Both ways, the whole table and column by column, against the plain recursion over 10,000 random pedigrees.
#[test]
fn the_plain_recursion_over_random_pedigrees() {
    let mut pedigrees = 0;
    let weight =
        |one: usize, other: usize| f64::from(u8::try_from(1 + (31 * one + 17 * other) % 97).unwrap());
    for row in table::read("kinship_plain").rows() {
        let first: u64 = row.text("first_seed").parse().unwrap();
        let (mut by_column, mut by_table, mut inbreeding) = (0.0, 0.0, 0.0);
        for seed in first..first + 10 {
            let entries = drawn(seed);
            let told = related(&entries);
            let group: Vec<usize> = (1..=entries.len()).collect();
            let whole = Table::of(&told, &group).unwrap();
            for &one in &group {
                inbreeding += told.inbreeding(&one).unwrap().value;
                for (other, kinship) in told.kinships(&one).unwrap() {
                    by_column += weight(one, other) * 2.0 * kinship.value;
                    let cell = whole.kinship(one - 1, other - 1).unwrap();
                    by_table += weight(one, other) * 2.0 * cell.figure.value;
                }
            }
            pedigrees += 1;
        }
        agrees(by_column, row.number("weighed"), 1e-13);
        agrees(by_table, row.number("weighed"), 1e-13);
        agrees(1.0 + inbreeding, 1.0 + row.number("inbreeding"), 1e-13);
    }
    assert_eq!(pedigrees, 10_000);
}

#[test]
fn regular_systems_of_inbreeding() {
    let mut entries = Vec::new();
    let founder = |entries: &mut Vec<Entry<usize>>| {
        let animal = entries.len() + 1;
        entries.push(young(animal, 0, 0));
        animal
    };
    let add = |entries: &mut Vec<Entry<usize>>, sire: usize, dam: usize| {
        let animal = entries.len() + 1;
        entries.push(young(animal, sire, dam));
        animal
    };
    let (mut selfed, mut crossed, mut halves) = (Vec::new(), Vec::new(), Vec::new());
    let mut one = founder(&mut entries);
    for _ in 0..6 {
        one = add(&mut entries, one, one);
        selfed.push(one);
    }
    let (back, other) = (founder(&mut entries), founder(&mut entries));
    let mut one = add(&mut entries, back, other);
    for _ in 0..6 {
        one = add(&mut entries, back, one);
        crossed.push(one);
    }
    // A male and eight females that are half sibs of each other; each of the females has the next young.
    let sire = founder(&mut entries);
    let mut females: Vec<usize> = (0..8)
        .map(|_| {
            let dam = founder(&mut entries);
            add(&mut entries, sire, dam)
        })
        .collect();
    for _ in 0..6 {
        let sire = females.remove(0);
        females = females.iter().map(|&dam| add(&mut entries, sire, dam)).collect();
        halves.push(females[0]);
    }
    let told = related(&entries);
    for row in table::read("inbreeding_systems").rows() {
        let generation: usize = row.text("generation").parse().unwrap();
        let of = match row.text("system") {
            "selfing" => &selfed,
            "backcross" => &crossed,
            _ => &halves,
        };
        let ours = told.inbreeding(&of[generation - 1]).unwrap().value;
        agrees(ours, row.number("F"), 1e-14);
        assert!((ours - row.number("printed")).abs() <= 0.0005 + 1e-12, "{ours} {}", row.text("printed"));
    }
}
