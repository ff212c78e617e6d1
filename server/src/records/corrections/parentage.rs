//! Parents that are found out, or corrected, after the animal is on the books.

use super::Corrected;
use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Animal;
use crate::model::fact::{FactKind, Version};
use crate::model::kinship::Known;
use crate::model::litter::NewParents;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Result, Violation};
use crate::records::parents::{Birth, Named};
use crate::records::{
    Records, fresh, guard_version, history, holder, life_states, mistakes, one_locked, view,
};
use crate::store::animals::{self, Lock, Parent};
use crate::store::{Tx, corrections, retrying};
use holt_audit::terms::Sex;
use uuid::Uuid;

/// Who the parents of an animal are, as somebody found out.
#[derive(Clone, Debug)]
pub struct Found {
    pub animal: String,
    /// A dam, sires, or both: each takes the place of what is on record of that part.
    pub parents: NewParents,
    pub known: Known,
    /// Version of the animal that this was based on; 0 to skip the guard.
    pub version: i64,
}

/// Records the dam, the possible sires, or both, of an animal on the books, in place of those that are on record.
///
/// # Errors
/// Refused without the role there; where another site answers for the animal, its record was withdrawn, a parent does
/// not fit, or all of that is on record.
pub async fn set(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    found: &Found,
) -> Result<Corrected> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("set_parents", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_locked(&tx, &permit, &found.animal, tx.now(), Lock::Change).await?;
        let animal = view(&tx, &permit, &label, tx.now()).await?;
        guard_version("animal", found.version, animal.version)?;
        mistakes::refuse(&animal, Reason::OutOfOrder).map_err(|refusal| refusal.at("animal"))?;
        if !holder::decides(&tx, &permit, animal.id).await? {
            return Err(holder::elsewhere(&animal, FactKind::Parent).into());
        }
        let parents = fitting(&mut tx, &permit, &animal, found).await?;
        let mut done = Vec::new();
        let old = corrections::standing(&tx, animal.id, FactKind::Parent).await?;
        for (part, kind) in [(Sex::Female, "dam"), (Sex::Male, "sire")] {
            let new: Vec<Parent> = parents.iter().filter(|parent| parent.sex == part).cloned().collect();
            let old: Vec<&Version> = old.iter().filter(|fact| fact.text("kind") == Some(kind)).collect();
            done.extend(replace(&mut tx, &permit, animal.id, (&old, &new), &found.known.note).await?);
        }
        if done.is_empty() {
            let field = if found.parents.dam.is_empty() { "sires" } else { "dam" };
            let (say, mend) = ("is already recorded so".to_owned(), "nothing needs to be done".to_owned());
            return Err(Refusal::malformed(vec![Violation { field: field.to_owned(), say, mend }]).into());
        }
        let version = animals::bump(&mut tx, animal.id).await?;
        let facts = history::these(&tx, caller, &[animal.id], &done).await?;
        Ok(tx.commit(Corrected { facts, version, concerns: Vec::new() }).await?)
    })
    .await
}

/// Those that are named, as parents of the animal.
async fn fitting(tx: &mut Tx, permit: &Permit, animal: &Animal, found: &Found) -> Result<Vec<Parent>> {
    let named = Named::find(tx, permit, &found.parents, "").await?;
    if named.animals().any(|parent| parent.id == animal.id) {
        let field =
            if named.dam.as_ref().is_some_and(|(dam, _)| dam.id == animal.id) { "dam" } else { "sires" };
        let say = "it is the animal itself";
        return Err(Refusal::new(Reason::ParentDoesNotFit, say, "check which animal is meant")
            .at(field)
            .into());
    }
    let here = corrections::standing(tx, animal.id, FactKind::Holding).await?.iter().any(|holding| {
        let how = holding.text("began_how");
        holding.site() == permit.site().id && (how == Some("birth") || how == Some("told_apart"))
    });
    let days = animal.born.map(|born| (born.first, born.last));
    let because = found.parents.because.as_str();
    let birth = Birth { taxon: &animal.taxon, days, here, because };
    let parents = named.fit(tx, permit, &birth).await?;
    if let Some((_, last)) = days.filter(|_| here) {
        life_states::bears(tx, permit, &parents, last).await?;
    }
    Ok(parents.into_iter().map(|parent| Parent { known: found.known.clone(), ..parent }).collect())
}

/// Puts parents in the place of those of the same part; answers the facts that are new. Nothing, where none is named or
/// all of it is on record.
async fn replace(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    (old, new): (&[&Version], &[Parent]),
    note: &str,
) -> Result<Vec<Uuid>> {
    let same = |parent: &Parent| old.iter().any(|fact| is_of(fact, parent));
    if new.is_empty() || (old.len() == new.len() && new.iter().all(same)) {
        return Ok(Vec::new());
    }
    let why = match note {
        "" => "other parents were found".to_owned(),
        note => format!("other parents were found: {note}"),
    };
    for fact in old {
        corrections::withdraw(tx, fact, &why).await?;
    }
    Ok(animals::insert_parents(tx, permit, animal, new).await?)
}

/// Whether a fact says the same of a parent.
fn is_of(fact: &Version, parent: &Parent) -> bool {
    fact.uuid("parent_id") == Some(parent.id)
        && fact.row.get("share").and_then(serde_json::Value::as_f64) == Some(parent.share)
        && fact.text("known_by") == Some(parent.known.by.as_str())
        && fact.text("note") == Some(parent.known.note.as_str())
}
