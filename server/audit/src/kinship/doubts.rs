//! Parents that cannot be, or hardly: by sex, and by the days of birth and death.

use super::pedigree::{Candidates, Entry, Origin, Parent};
use crate::census::Born;
use crate::terms::{Day, Sex};
use chrono::Days;
use std::collections::BTreeMap;

/// What is known of the life of one animal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Life {
    /// Its sex.
    pub sex: Sex,
    /// When it was born, as far as that is known.
    pub born: Option<Born>,
    /// When it died.
    pub died: Option<Day>,
}

/// A parent that cannot be.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{parent:?} cannot be a parent of {young:?}: {why}")]
pub struct Doubt<A> {
    /// Whose parent.
    pub young: A,
    /// The parent.
    pub parent: A,
    /// Why not.
    pub why: Why,
}

/// Why a parent cannot be one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Why {
    /// A sire that is female, or a dam that is male.
    #[error("it is of the other sex")]
    Sex,
    /// It was certainly born no earlier than its young.
    #[error("it was not born before its offspring")]
    NotOlder,
    /// A dam that was certainly dead before the birth.
    #[error("it died before the birth")]
    DamDead,
    /// A sire that was dead for longer before the birth than conception can precede it.
    #[error("it died too long before the birth")]
    SireDead,
}

/// Doubts about every known parent and every candidate, in the order of the entries. `conception_days` is how long before a
/// birth its sire can have died: gestation, and for species that store sperm or delay implantation that
/// time as well.
#[must_use]
pub fn doubts<A: Clone + Ord>(
    entries: &[Entry<A>],
    candidates: &[Candidates<A>],
    lives: &BTreeMap<A, Life>,
    conception_days: u16,
) -> Vec<Doubt<A>> {
    let mut told = Vec::new();
    for entry in entries {
        let Origin::Parents { sire, dam } = &entry.origin else { continue };
        let young = lives.get(&entry.animal).and_then(|life| life.born);
        let sides = [
            (sire, Sex::Female, Why::SireDead, Days::new(u64::from(conception_days))),
            (dam, Sex::Male, Why::DamDead, Days::new(0)),
        ];
        for (parent, wrong_sex, dead, grace) in sides {
            let possible: Vec<&A> = match parent {
                Parent::Unknown => Vec::new(),
                Parent::Known(parent) => vec![parent],
                Parent::OneOf(place) => {
                    candidates.get(*place).iter().flat_map(|one| &one.shares).map(|(one, _)| one).collect()
                }
            };
            for parent in possible {
                let Some(life) = lives.get(parent) else { continue };
                let mut doubt =
                    |why| told.push(Doubt { young: entry.animal.clone(), parent: parent.clone(), why });
                if life.sex == wrong_sex {
                    doubt(Why::Sex);
                }
                let Some(young) = young else { continue };
                if life.born.is_some_and(|born| born.earliest >= young.latest) {
                    doubt(Why::NotOlder);
                }
                if life.died.is_some_and(|died| died + grace < young.earliest) {
                    doubt(dead);
                }
            }
        }
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn life(sex: Sex, born: &str, died: Option<&str>) -> Life {
        Life { sex, born: Some(Born::on(day(born))), died: died.map(day) }
    }

    fn told(sire: Life, dam: Life) -> Vec<Why> {
        let entries = [Entry {
            animal: "Fern",
            origin: Origin::Parents { sire: Parent::Known("Ash"), dam: Parent::Known("Birch") },
        }];
        let month = Born { earliest: day("2026-03-01"), latest: day("2026-03-31") };
        let fern = Life { sex: Sex::Unknown, born: Some(month), died: None };
        let lives = BTreeMap::from([("Fern", fern), ("Ash", sire), ("Birch", dam)]);
        doubts(&entries, &[], &lives, 130).into_iter().map(|doubt| doubt.why).collect()
    }

    #[test]
    fn only_what_is_certain_is_doubted() {
        let (sire, dam) = (life(Sex::Male, "2020-01-01", None), life(Sex::Female, "2021-01-01", None));
        assert_eq!(told(sire, dam), []);
        // Unsexed, and a dam that died within the month of birth.
        let unsexed = Life { sex: Sex::Unknown, ..sire };
        assert_eq!(told(unsexed, life(Sex::Female, "2021-01-01", Some("2026-03-01"))), []);
        assert_eq!(
            told(life(Sex::Male, "2020-01-01", Some("2025-10-22")), dam),
            [],
            "130 days before the first"
        );
    }

    #[test]
    fn what_cannot_be_is_told() {
        let dam = life(Sex::Female, "2021-01-01", Some("2026-02-28"));
        assert_eq!(told(life(Sex::Female, "2020-01-01", None), dam), [Why::Sex, Why::DamDead]);
        let late = life(Sex::Male, "2020-01-01", Some("2025-10-21"));
        assert_eq!(told(late, life(Sex::Male, "2026-03-31", None)), [Why::SireDead, Why::Sex, Why::NotOlder]);
    }

    #[test]
    fn a_pedigree_with_a_parent_that_cannot_be_is_refused() {
        use super::super::Pedigree;
        let entries = [
            Entry { animal: "Ash", origin: Origin::Founder },
            Entry { animal: "Birch", origin: Origin::Founder },
            Entry {
                animal: "Fern",
                origin: Origin::Parents { sire: Parent::OneOf(0), dam: Parent::Unknown },
            },
        ];
        let candidates = [Candidates { shares: vec![("Ash", 0.5), ("Birch", 0.5)] }];
        let born = |ash| {
            BTreeMap::from([
                ("Ash", life(Sex::Male, ash, None)),
                ("Birch", life(Sex::Male, "2020-01-01", None)),
                ("Fern", life(Sex::Unknown, "2024-01-01", None)),
            ])
        };
        assert!(Pedigree::of_lives(&entries, &candidates, &born("2020-01-01"), 130).is_ok());
        let flaws = Pedigree::of_lives(&entries, &candidates, &born("2024-01-01"), 130).unwrap_err();
        let told: Vec<String> = flaws.iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            ["\"Ash\" cannot be a parent of \"Fern\": it was not born before its offspring"],
            "of the candidates, too"
        );
    }
}
