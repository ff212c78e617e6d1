//! Species: put on record, renamed, and found by any of their names.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::taxon::{Appendix, NewTaxon, Synonym, Taxon, TaxonChange};
use crate::model::traits::Traits;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh};
use crate::store::{Snapshot, Tx, retrying, taxa, traits};
use std::collections::HashMap;
use uuid::Uuid;

/// Adds a species.
///
/// # Errors
/// Refused without the role anywhere; without the role of curator, where an appendix of CITES is stated;
/// where a species goes by one of its names.
pub async fn create(records: &Records, caller: &Caller, request: &Request, new: &NewTaxon) -> Result<Taxon> {
    // Whether animals of a species may be traded is the curator's to say.
    let reach = match new.appendix {
        Appendix::NotStated => caller.reach(Deed::NameSpecies)?,
        _ => caller.may_everywhere(Deed::Curate)?,
    };
    retrying("create_taxon", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        refuse_taken(&tx, &new.scientific_name, "scientific_name", None).await?;
        for (n, synonym) in new.synonyms.iter().enumerate() {
            refuse_taken(&tx, &synonym.name, &format!("synonyms[{n}].name"), None).await?;
        }
        taxa::insert(&mut tx, new).await?;
        let reply = taxa::with_synonyms(&tx, one(&tx, &new.scientific_name).await?).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Changes what a species is called and what is said of it. What was said stays, as it was known until now.
///
/// # Errors
/// Refused without the role of curator; where no species goes by that name, another goes by the new one, or a
/// name is not a synonym that is said to be none.
pub async fn update(
    records: &Records,
    caller: &Caller,
    request: &Request,
    name: &str,
    new: &TaxonChange,
) -> Result<Taxon> {
    let reach = caller.may_everywhere(Deed::Curate)?;
    retrying("update_taxon", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        let reply = change(&mut tx, name, new).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// The species that a change is of, with its synonyms, where the change fits it.
pub(super) async fn fitting(snapshot: &Snapshot, name: &str, change: &TaxonChange) -> Result<Taxon> {
    let old = taxa::with_synonyms(snapshot, one(snapshot, name).await?).await?;
    let known = |name: &str| old.synonyms.iter().any(|synonym| synonym.name == name);
    if let Some(new) = change.renamed.as_ref().filter(|new| !known(&new.name)) {
        refuse_taken(snapshot, &new.name, "new_scientific_name", Some(&old)).await?;
    }
    for (n, synonym) in change.more_synonyms.iter().enumerate() {
        refuse_taken(snapshot, &synonym.name, &format!("add_synonyms[{n}].name"), Some(&old)).await?;
    }
    if let Some((n, name)) = change.no_synonyms.iter().enumerate().find(|(_, name)| !known(name)) {
        return Err(Refusal::not_found("synonym", name).at(format!("drop_synonyms[{n}]")).into());
    }
    Ok(old)
}

/// Makes a change of a species.
pub(super) async fn change(tx: &mut Tx, name: &str, change: &TaxonChange) -> Result<Taxon> {
    let old = fitting(tx, name, change).await?;
    taxa::change(tx, old.id, change).await?;
    let now = change.renamed.as_ref().map_or(&old.scientific_name, |Synonym { name, .. }| name);
    Ok(taxa::with_synonyms(tx, one(tx, now).await?).await?)
}

/// Says what is usual in a species.
pub(super) async fn say(tx: &mut Tx, name: &str, new: &Traits) -> Result<Taxon> {
    let taxon = one(tx, name).await?;
    traits::describe(tx, taxon.id, new).await?;
    Ok(taxon)
}

/// Says what is usual in a species; what is said last stands.
///
/// # Errors
/// Refused without the role of curator, or where the species is not on record.
pub async fn describe(
    records: &Records,
    caller: &Caller,
    request: &Request,
    scientific_name: &str,
    new: &Traits,
) -> Result<(Taxon, Traits)> {
    let reach = caller.may_everywhere(Deed::Curate)?;
    retrying("describe_taxon", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        let taxon = say(&mut tx, scientific_name, new).await?;
        Ok(tx.commit((taxon, new.clone())).await?)
    })
    .await
}

/// All species, with their synonyms, and what is said to be usual in them.
///
/// # Errors
/// Faults only.
pub async fn list(records: &Records, caller: &Caller) -> Result<(Vec<Taxon>, HashMap<Uuid, Traits>)> {
    let snapshot = records.store.read(&caller.reach(Deed::ReadDirectory)?, None).await?;
    Ok((taxa::all(&snapshot).await?, traits::all(&snapshot).await?))
}

/// The species that goes by a name.
///
/// # Errors
/// Refused where none does.
pub(crate) async fn one(snapshot: &Snapshot, name: &str) -> Result<Taxon> {
    taxa::named(snapshot, name).await?.ok_or_else(|| Refusal::not_found("species", name).into())
}

/// Refuses a name that a species goes by, and says which: one name never means two.
async fn refuse_taken(snapshot: &Snapshot, name: &str, field: &str, of: Option<&Taxon>) -> Result<()> {
    let Some(other) = taxa::named(snapshot, name).await? else { return Ok(()) };
    let say = match (other.scientific_name == name, of.is_some_and(|of| of.id == other.id)) {
        (true, true) => format!("`{name}` is the name of this species"),
        (false, true) => format!("`{name}` is already a synonym of this species"),
        (true, false) => format!("`{name}` is already a species"),
        (false, false) => format!("`{name}` is a synonym of {}", other.scientific_name),
    };
    Err(Refusal::new(Reason::Exists, say, "use that species, or take the name from it first")
        .fact("species", other.scientific_name)
        .at(field)
        .into())
}
