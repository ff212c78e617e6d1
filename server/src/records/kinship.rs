//! Kin: who comes from whom as far as the asker sees it, and how closely animals are related by that.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::group::{Kin, Parents, kin};
use crate::model::kinship::{Ancestor, Compared, Comparison, Family, Parentage, Relative};
use crate::model::reason::Reason;
use crate::records::ancestry::Ancestry;
use crate::records::animals::lens_of;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, groups, one_animal};
use crate::store::{Snapshot, census, groups as memberships, kinship};
use chrono::{DateTime, Utc};
use holt_audit::kinship::table::MOST;
use holt_audit::terms::Sex;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The most animals that are compared at once: a table of them can still be read.
const COMPARED: usize = 100;
/// The most siblings and offspring that are listed.
const RELATIVES: usize = 500;

/// The kin of an animal.
///
/// # Errors
/// Refused where there is no such site in scope or no such animal, or it has too many ancestors.
pub async fn family(
    records: &Records,
    caller: &Caller,
    site: &str,
    animal: &str,
    generations: u32,
    known_at: Option<DateTime<Utc>>,
) -> Result<Family> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, known_at).await?;
    let label = one_animal(&snapshot, Some(&permit), animal, records.store.now()).await?;
    let own = kinship::lines(&snapshot, &[label.id], MOST + 1).await?;
    let parents: Vec<Uuid> = own
        .iter()
        .find(|line| line.animal == label.id)
        .map(|line| line.parents.iter().map(|one| one.parent).collect())
        .unwrap_or_default();
    let mut near = parents.clone();
    near.push(label.id);
    let mut asked = vec![label.id];
    asked.extend(parents);
    let mut offspring = kinship::offspring(&snapshot, &near, RELATIVES + 1).await?;
    let more_relatives = offspring.len() > RELATIVES;
    offspring.truncate(RELATIVES);
    asked.extend(offspring);
    let mut seen = BTreeSet::new();
    asked.retain(|one| seen.insert(*one));
    let ancestry = Ancestry::of(&snapshot, &asked).await?;
    let table = ancestry.table(&asked)?;
    let ancestors = ancestors(&ancestry, label.id, generations);
    let named: BTreeSet<Uuid> =
        asked.iter().copied().chain(ancestors.iter().map(|one| one.0.parent)).collect();
    let labels = labels(&snapshot, &permit, named.into_iter().chain(left_out(&ancestry))).await?;
    let named = |animal: Uuid| labels.get(&animal).cloned().unwrap_or_else(|| unseen(animal));
    let own = of_group(&ancestry, label.id);
    let mut relatives = Vec::new();
    for (place, &other) in asked.iter().enumerate().skip(1) {
        let theirs = of_group(&ancestry, other);
        let Some(kin) = kin((label.id, &own), (other, &theirs)) else { continue };
        let share = ancestry.parents(label.id).iter().find(|one| one.parent == other).map(|one| one.share);
        let (Some(kinship), Some(line)) = (table.kinship(0, place), ancestry.line(other)) else {
            continue;
        };
        relatives.push(Relative {
            animal: named(other),
            kin,
            share: share.unwrap_or(1.0),
            sex: line.sex,
            born: line.born,
            kinship,
        });
    }
    relatives.sort_by(|a, b| {
        let order = |one: &Relative| (one.kin as u8, one.born, one.animal.id);
        order(a).cmp(&order(b))
    });
    let inbreeding = table.inbreeding(0).ok_or_else(|| Refusal::not_found("animal", animal))?;
    Ok(Family {
        animal: label,
        inbreeding,
        relatives,
        ancestors: ancestors
            .into_iter()
            .map(|(one, parent_of, generation)| Ancestor {
                animal: named(one.parent),
                parent_of,
                kin: if one.part == Sex::Female { Kin::Dam } else { Kin::Sire },
                share: one.share,
                generation,
                founder: ancestry.is_founder(one.parent),
            })
            .collect(),
        more_relatives,
        assumption: assumption(&ancestry),
        left_out: told(&ancestry, &labels),
    })
}

/// How closely animals, or the members of a group, are related.
///
/// # Errors
/// Refused where there is no such site in scope, an animal is not found, they are too many or have too many
/// ancestors.
pub async fn compare(
    records: &Records,
    caller: &Caller,
    site: &str,
    animals: &[String],
    group: &str,
    known_at: Option<DateTime<Utc>>,
) -> Result<Comparison> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, known_at).await?;
    let now = records.store.now();
    let mut asked = Vec::new();
    for text in animals {
        asked.push(one_animal(&snapshot, Some(&permit), text, now).await?.id);
    }
    if !group.is_empty() {
        let group = groups::one(&snapshot, &permit, group, lens_of(permit.site(), None, now)).await?;
        let members = memberships::members(&snapshot, &permit, group.id, now).await?;
        asked.extend(members.iter().map(|member| member.animal));
    }
    let mut seen = BTreeSet::new();
    asked.retain(|one| seen.insert(*one));
    if asked.len() > COMPARED {
        let say =
            format!("Holt compares kinship for up to {COMPARED} animals, but these are {}", asked.len());
        return Err(Refusal::new(Reason::TooMuch, say, "ask about fewer animals").into());
    }
    let ancestry = Ancestry::of(&snapshot, &asked).await?;
    let table = ancestry.table(&asked)?;
    let labels = labels(&snapshot, &permit, asked.iter().copied().chain(left_out(&ancestry))).await?;
    let mut members = Vec::with_capacity(asked.len());
    let mut pairs = Vec::new();
    let (mut mean, size) = (0.0, f64::from(u32::try_from(asked.len()).unwrap_or(u32::MAX)));
    for (one, &animal) in asked.iter().enumerate() {
        let row = || (0..asked.len()).filter_map(|other| Some((other, table.kinship(one, other)?)));
        let mean_kinship = row().map(|(_, cell)| cell.figure.value / size).sum::<f64>();
        mean += mean_kinship / size;
        pairs.extend(
            row().filter(|(other, _)| *other > one).map(|(other, cell)| (animal, asked[other], cell)),
        );
        let Some(inbreeding) = table.inbreeding(one) else { continue };
        let animal = labels.get(&animal).cloned().unwrap_or_else(|| unseen(animal));
        members.push(Compared { animal, inbreeding, mean_kinship });
    }
    // A group without members has none.
    let gene_diversity = if asked.is_empty() { 0.0 } else { 1.0 - mean };
    let (assumption, left_out) = (assumption(&ancestry), told(&ancestry, &labels));
    Ok(Comparison { members, pairs, gene_diversity, assumption, left_out })
}

fn assumption(ancestry: &Ancestry) -> String {
    format!(
        "Values: {}. Lowest and highest: an unknown parent is kin to nobody at least, and to everybody by \
         one half at most.",
        ancestry.assumption().spoken()
    )
}

fn unseen(id: Uuid) -> Label {
    Label { id, accession: String::new(), house_name: String::new() }
}

fn left_out(ancestry: &Ancestry) -> Vec<Uuid> {
    ancestry.left_out().iter().flat_map(|&(young, parent)| [young, parent]).collect()
}

fn told(ancestry: &Ancestry, labels: &BTreeMap<Uuid, Label>) -> Vec<String> {
    let spoken = |animal: &Uuid| {
        let spoken = labels.get(animal).map(Label::spoken).unwrap_or_default();
        if spoken.is_empty() { "an animal that you may not see".to_owned() } else { spoken }
    };
    let sentence = |(young, parent): &(Uuid, Uuid)| {
        format!(
            "{} is recorded as a parent of {}, but its sex or the dates do not allow it",
            spoken(parent),
            spoken(young)
        )
    };
    ancestry.left_out().iter().map(sentence).collect()
}

async fn labels(
    snapshot: &Snapshot,
    permit: &Permit,
    animals: impl Iterator<Item = Uuid>,
) -> Result<BTreeMap<Uuid, Label>> {
    let asked: BTreeSet<Uuid> = animals.collect();
    let asked: Vec<(Uuid, Uuid)> = asked.into_iter().map(|animal| (animal, permit.site().id)).collect();
    Ok(census::names(snapshot, &asked).await?.into_iter().map(|label| (label.id, label)).collect())
}

/// Parents in the terms in which members of a group are told as kin.
fn of_group(ancestry: &Ancestry, animal: Uuid) -> Parents {
    let mut of = Parents::default();
    for one in ancestry.parents(animal) {
        if one.part == Sex::Female { of.dam = Some(one.parent) } else { of.sires.push(one.parent) }
    }
    of
}

/// Ancestors generation by generation, each with whose parent it is.
fn ancestors(ancestry: &Ancestry, of: Uuid, generations: u32) -> Vec<(Parentage, Uuid, u32)> {
    let mut found = Vec::new();
    let mut told = BTreeSet::new();
    let mut last = vec![of];
    for generation in 1..=generations {
        let mut next = Vec::new();
        for animal in last {
            // Whose parents were told once is not told again.
            if told.insert(animal) {
                for parent in ancestry.parents(animal) {
                    found.push((parent, animal, generation));
                    next.push(parent.parent);
                }
            }
        }
        last = next;
    }
    found
}
