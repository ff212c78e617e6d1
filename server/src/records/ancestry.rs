//! The pedigree of some animals as far as the asker sees it, made fit to compute with.

use crate::model::kinship::{Line, Parentage};
use crate::model::reason::Reason;
use crate::records::error::{Refusal, Result, fault};
use crate::store::{Snapshot, kinship};
use chrono::NaiveDate;
use holt_audit::census::Born;
use holt_audit::kinship::doubts::{Life, Why, doubts};
use holt_audit::kinship::pedigree::Flaw;
use holt_audit::kinship::table::{MOST, NoTable};
use holt_audit::kinship::{Assumption, Candidates, Entry, Origin, Parent, Pedigree, Relationships, Table};
use holt_audit::terms::Sex;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How many ancestors are looked at where it goes on without the others.
const FAR: usize = 20_000;

/// How many animals of one species are compared with one another, all their ancestors included.
const LARGEST: usize = 200_000;

/// A pedigree of some animals and all their ancestors.
pub(crate) struct Ancestry {
    lines: BTreeMap<Uuid, Line>,
    relationships: Relationships<Uuid>,
    /// Parents that are on record and cannot be: whose, and which.
    left_out: BTreeSet<(Uuid, Uuid)>,
}

impl Ancestry {
    /// The pedigree of these animals.
    ///
    /// # Errors
    /// Refused where they have too many ancestors.
    pub(crate) async fn of(snapshot: &Snapshot, animals: &[Uuid]) -> Result<Self> {
        let lines = kinship::lines(snapshot, animals, MOST + 1).await?;
        if lines.len() > MOST {
            return Err(too_many(lines.len()).into());
        }
        Ok(Self::from(lines))
    }

    /// The pedigree of all the living of a species, for rows of it and not for a table.
    ///
    /// # Errors
    /// Refused where they have too many ancestors.
    pub(crate) async fn of_species(snapshot: &Snapshot, living: &[Uuid]) -> Result<Self> {
        let lines = kinship::lines(snapshot, living, LARGEST + 1).await?;
        if lines.len() > LARGEST {
            let say = format!("the living and their ancestors are more than {LARGEST}");
            return Err(Refusal::new(Reason::TooMuch, say, "search when fewer sites show cards").into());
        }
        let worked_out = tokio::task::spawn_blocking(move || Self::from(lines)).await;
        worked_out.map_err(|error| fault(format!("the pedigree was not worked out: {error}")))
    }

    /// What is worked out of the pedigree.
    pub(crate) const fn relationships(&self) -> &Relationships<Uuid> {
        &self.relationships
    }

    /// Kinship of all of them.
    ///
    /// # Errors
    /// Refused where they have too many ancestors.
    pub(crate) fn table(&self, animals: &[Uuid]) -> Result<Table> {
        Table::of(&self.relationships, animals).map_err(|none| match none {
            NoTable::TooMany(n) => too_many(n).into(),
            NoTable::NotInPedigree(_) => Refusal::not_found("animal", "among the animals asked about").into(),
        })
    }

    /// Kinship of each pair of these animals that are kin, however many ancestors they have.
    ///
    /// # Errors
    /// Faults only.
    pub(crate) async fn among(snapshot: &Snapshot, animals: &[Uuid]) -> Result<Vec<(Uuid, Uuid, f64)>> {
        let ancestry = Self::from(kinship::lines(snapshot, animals, FAR).await?);
        let mut found = Vec::new();
        for (n, one) in animals.iter().enumerate() {
            let Some(row) = ancestry.relationships.kinships(one) else { continue };
            let others =
                animals[n + 1..].iter().filter_map(|other| Some((*one, *other, row.get(other)?.value)));
            found.extend(others.filter(|(_, _, kinship)| *kinship > 0.0));
        }
        Ok(found)
    }

    /// What is known of one of them.
    pub(crate) fn line(&self, animal: Uuid) -> Option<&Line> {
        self.lines.get(&animal)
    }

    /// Parents on record that cannot be parents: whose, and which.
    pub(crate) const fn left_out(&self) -> &BTreeSet<(Uuid, Uuid)> {
        &self.left_out
    }

    /// What is assumed of founders and unknown parents.
    pub(crate) const fn assumption(&self) -> Assumption {
        self.relationships.assumption()
    }

    /// Parents that can be.
    pub(crate) fn parents(&self, animal: Uuid) -> Vec<Parentage> {
        let parents = self.lines.get(&animal).map(|line| line.parents.clone()).unwrap_or_default();
        parents.into_iter().filter(|one| !self.left_out.contains(&(animal, one.parent))).collect()
    }

    /// Whether it is taken to be unrelated to all other founders: it came from the wild, and no parent is on record.
    pub(crate) fn is_founder(&self, animal: Uuid) -> bool {
        self.lines.get(&animal).is_some_and(|line| line.wild && line.parents.is_empty())
    }
}

fn too_many(n: usize) -> Refusal {
    Refusal::new(
        Reason::TooMuch,
        format!("the animals and their ancestors are {n} or more; Holt calculates kinship for up to {MOST}"),
        "ask about fewer animals",
    )
}

impl From<Vec<Line>> for Ancestry {
    fn from(lines: Vec<Line>) -> Self {
        let lines: BTreeMap<Uuid, Line> = lines.into_iter().map(|line| (line.animal, line)).collect();
        let mut left_out = BTreeSet::new();
        let (entries, candidates) = entered(&lines, &left_out);
        // What only seldom can be was accepted for a reason when it was recorded; what never can be is a mistake.
        let never = doubts(&entries, &candidates, &lives(&lines), u16::MAX)
            .into_iter()
            .filter(|doubt| matches!(doubt.why, Why::Sex | Why::NotOlder));
        left_out.extend(never.map(|doubt| (doubt.young, doubt.parent)));
        let pedigree = loop {
            let (entries, candidates) = entered(&lines, &left_out);
            match Pedigree::build(&entries, &candidates) {
                Ok(pedigree) => break pedigree,
                Err(flaws) => left_out.extend(flaws.into_iter().flat_map(|flaw| circle(flaw, &lines))),
            }
        };
        Self { lines, relationships: Relationships::of(pedigree, Assumption::Unrelated), left_out }
    }
}

/// The parents of those who are their own ancestors. Whatever else is wrong cannot be on record.
fn circle(flaw: Flaw<Uuid>, lines: &BTreeMap<Uuid, Line>) -> Vec<(Uuid, Uuid)> {
    let all = |animal: Uuid| {
        let parents = lines.get(&animal).map(|line| line.parents.clone()).unwrap_or_default();
        parents.into_iter().map(move |one| (animal, one.parent))
    };
    match flaw {
        Flaw::OwnAncestors(animals) => animals.into_iter().flat_map(all).collect(),
        _ => lines.keys().copied().flat_map(all).collect(),
    }
}

fn lives(lines: &BTreeMap<Uuid, Line>) -> BTreeMap<Uuid, Life> {
    let life = |line: &Line| Life {
        sex: line.sex,
        born: line.born.map(|(earliest, latest)| Born { earliest, latest }),
        died: None,
    };
    lines.iter().map(|(animal, line)| (*animal, life(line))).collect()
}

/// Whose sire is the same one, whichever it is: those of one dam, born on the same days, with the same candidates.
type OneSire = (Option<Uuid>, Option<(NaiveDate, NaiveDate)>, Vec<(Uuid, u64)>);

fn entered(
    lines: &BTreeMap<Uuid, Line>,
    left_out: &BTreeSet<(Uuid, Uuid)>,
) -> (Vec<Entry<Uuid>>, Vec<Candidates<Uuid>>) {
    let mut candidates: Vec<Candidates<Uuid>> = Vec::new();
    let mut open: BTreeMap<OneSire, usize> = BTreeMap::new();
    let mut entries = Vec::with_capacity(lines.len());
    for line in lines.values() {
        let of = |part: Sex| -> Vec<(Uuid, f64)> {
            line.parents
                .iter()
                .filter(|one| one.part == part && !left_out.contains(&(line.animal, one.parent)))
                // Where there are more ancestors than were asked for, the pedigree ends.
                .filter(|one| lines.contains_key(&one.parent))
                .map(|one| (one.parent, one.share))
                .collect()
        };
        let (dams, sires) = (of(Sex::Female), of(Sex::Male));
        let dam = dams.first().map(|(dam, _)| *dam);
        let sire = match sires[..] {
            [] => Parent::Unknown,
            [(sire, share)] if share >= 1.0 => Parent::Known(sire),
            _ => {
                let shares = sires.iter().map(|(sire, share)| (*sire, share.to_bits())).collect();
                // Two of the same litter have one sire; others may each have another.
                let litter = if dam.is_some() && line.born.is_some() { dam } else { Some(line.animal) };
                let place = *open.entry((litter, line.born, shares)).or_insert_with(|| {
                    candidates.push(Candidates { shares: sires.clone() });
                    candidates.len() - 1
                });
                Parent::OneOf(place)
            }
        };
        let origin = if line.wild && line.parents.is_empty() {
            Origin::Founder
        } else {
            Origin::Parents { sire, dam: dam.map_or(Parent::Unknown, Parent::Known) }
        };
        entries.push(Entry { animal: line.animal, origin });
    }
    (entries, candidates)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(n: u128) -> Uuid {
        Uuid::from_u128(n)
    }

    fn line(n: u128, dam: u128, sires: &[(u128, f64)]) -> Line {
        let mut parents: Vec<Parentage> = sires
            .iter()
            .map(|&(sire, share)| Parentage { parent: id(sire), part: Sex::Male, share })
            .collect();
        if dam != 0 {
            parents.push(Parentage { parent: id(dam), part: Sex::Female, share: 1.0 });
        }
        let wild = parents.is_empty();
        Line { animal: id(n), sex: Sex::Unknown, born: None, wild, parents }
    }

    fn kinship(lines: Vec<Line>, one: u128, other: u128) -> f64 {
        let table = Ancestry::from(lines).table(&[id(one), id(other)]).unwrap();
        table.kinship(0, 1).unwrap().figure.value
    }

    #[test]
    fn who_is_recorded_as_its_own_ancestor_has_no_parents_that_count() {
        let lines = vec![line(1, 2, &[]), line(2, 1, &[]), line(3, 1, &[]), line(4, 1, &[])];
        let ancestry = Ancestry::from(lines.clone());
        assert_eq!(ancestry.left_out().iter().copied().collect::<Vec<_>>(), [(id(1), id(2)), (id(2), id(1))]);
        assert!((kinship(lines, 3, 4) - 0.125).abs() < 1e-12, "half siblings all the same");
    }

    #[test]
    fn a_parent_that_cannot_be_is_left_out_and_told() {
        let mut lines = vec![line(1, 0, &[]), line(2, 0, &[]), line(3, 1, &[(2, 1.0)])];
        lines[1].sex = Sex::Female;
        let ancestry = Ancestry::from(lines);
        assert_eq!(ancestry.left_out().iter().copied().collect::<Vec<_>>(), [(id(3), id(2))]);
        assert_eq!(ancestry.parents(id(3)).len(), 1);
    }

    #[test]
    fn a_litter_has_one_sire_and_two_litters_may_have_two() {
        let day = |text: &str| text.parse().unwrap();
        let born = |on: &str, mut line: Line| {
            line.born = Some((day(on), day(on)));
            line
        };
        let sires = [(2, 0.5), (3, 0.5)];
        let founders = || (1..=3).map(|n| line(n, 0, &[]));
        let litter = |second: &str| {
            let young = [born("2025-05-01", line(4, 1, &sires)), born(second, line(5, 1, &sires))];
            kinship(founders().chain(young).collect(), 4, 5)
        };
        assert!((litter("2025-05-01") - 0.25).abs() < 1e-12, "full siblings, whoever the sire is");
        assert!((litter("2026-05-01") - 0.1875).abs() < 1e-12, "half or full, as likely");
    }

    #[test]
    fn a_pedigree_that_is_cut_off_ends_there() {
        // The dam of 2 and 3 is beyond what was read.
        let lines = vec![line(2, 9, &[(1, 1.0)]), line(3, 9, &[(1, 1.0)]), line(1, 0, &[])];
        assert!((kinship(lines, 2, 3) - 0.125).abs() < 1e-12);
    }
}
