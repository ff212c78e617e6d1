//! Encounters: limits are set, encounters are recorded, and what they break is told.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::encounter::{Broken, Encounter, NewEncounter, Of, Recorded, Rule};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::lens_of;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, groups, held_then, one_animal, taxa};
use crate::store::animals::{self, Reference};
use crate::store::encounters::{self, Wanted};
use crate::store::{Snapshot, Tx, groups as members, retrying};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use holt_audit::encounters::{Encounter as Met, Limits, would_break};
use std::collections::HashMap;
use uuid::Uuid;

/// Encounters matter for so long before and after one: a week, and the rest that may reach over another.
pub(crate) const REACH: TimeDelta = TimeDelta::days(15);

/// Sets the limits of a species or of one animal.
///
/// # Errors
/// Refused without the role there, or where there is no such species or animal.
pub async fn set_limits(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    of: &Of<String, String>,
    limits: &Limits,
    because: &str,
) -> Result<Rule> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("set_encounter_limits", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let (id, of) = match of {
            Of::Taxon(name) => {
                let taxon = taxa::one(&tx, name).await?;
                (Of::Taxon(taxon.id), Of::Taxon((taxon.id, taxon.scientific_name)))
            }
            Of::Animal(text) => {
                let reference = Reference { text: text.clone(), at: tx.now() };
                let mut label = held_then(&tx, &permit, &[reference], |_| "animal".to_owned()).await?;
                let label = label.pop().ok_or_else(|| Refusal::not_found("animal", text))?;
                (Of::Animal(label.id), Of::Animal(label))
            }
        };
        encounters::set_limits(&mut tx, &permit, &id, limits, because).await?;
        let set_at = tx.now();
        Ok(tx.commit(Rule { of, limits: *limits, set_at }).await?)
    })
    .await
}

/// Limits of a site.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn rules(
    records: &Records,
    caller: &Caller,
    site: &str,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<Rule>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, known_at).await?;
    Ok(encounters::rules(&snapshot, &permit).await?)
}

/// The limits of single animals: their own (true), else those of their species.
pub(crate) struct Book {
    own: HashMap<Uuid, Limits>,
    species: HashMap<Uuid, Limits>,
}

impl Book {
    pub(crate) fn new(rules: Vec<Rule>) -> Self {
        let mut book = Self { own: HashMap::new(), species: HashMap::new() };
        for Rule { of, limits, .. } in rules {
            match of {
                Of::Taxon((taxon, _)) => book.species.insert(taxon, limits),
                Of::Animal(label) => book.own.insert(label.id, limits),
            };
        }
        book
    }

    pub(crate) fn of(&self, animal: Uuid, taxon: Uuid) -> Option<(bool, Limits)> {
        let own = self.own.get(&animal).map(|limits| (true, *limits));
        own.or_else(|| self.species.get(&taxon).map(|limits| (false, *limits)))
    }
}

/// Records an encounter, and tells which limits it breaks that were kept without it.
///
/// # Errors
/// Refused without the role there; where the times do not fit, the site has no such group, nobody took part, or
/// the site did not hold one of the animals then.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewEncounter,
) -> Result<Recorded> {
    let permit = records.permit(caller, Deed::Tend, site).await?;
    retrying("record_encounter", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        if !request.validate_only && new.ended_at > tx.now() {
            return Err(Refusal::in_the_future("end of the encounter", "ended_at").into());
        }
        let took_part = took_part(&tx, &permit, new).await?;
        let ids: Vec<Uuid> = took_part.iter().map(|label| label.id).collect();
        let (broken, unlimited) = broken_by(&tx, &permit, new, &took_part).await?;
        let id = encounters::insert(&mut tx, &permit, new, &ids).await?;
        let encounter = on_record(&tx, &permit, id).await?;
        Ok(tx.commit(Recorded { encounter, broken, unlimited }).await?)
    })
    .await
}

/// Who took part, by accession: the animals named, and the members of the group then. A try of one to come is
/// held against who is here now.
async fn took_part(tx: &Tx, permit: &Permit, new: &NewEncounter) -> Result<Vec<Label>> {
    let at = new.began_at.min(tx.now());
    let references: Vec<Reference> =
        new.animals.iter().map(|text| Reference { text: text.clone(), at }).collect();
    let mut labels = held_then(tx, permit, &references, |n| format!("animals[{n}]")).await?;
    if !new.group.is_empty() {
        let lens = lens_of(permit.site(), None, tx.now());
        let group = groups::one(tx, permit, &new.group, lens).await?;
        let ids: Vec<String> = members::members(tx, permit, group.id, at)
            .await?
            .iter()
            .map(|member| member.animal.to_string())
            .collect();
        let references: Vec<Reference> = ids.into_iter().map(|text| Reference { text, at }).collect();
        labels.extend(held_then(tx, permit, &references, |_| "group".to_owned()).await?);
    }
    labels.sort_by(|a, b| a.accession.cmp(&b.accession));
    labels.dedup_by_key(|label| label.id);
    if labels.is_empty() {
        let say = format!("nobody belonged to {} then", new.group);
        let mend = "name the animals that took part";
        return Err(Refusal::new(Reason::NotFound, say, mend).fact("what", "member").at("group").into());
    }
    Ok(labels)
}

/// What the encounter breaks, and who has no limits.
async fn broken_by(
    tx: &Tx,
    permit: &Permit,
    new: &NewEncounter,
    took_part: &[Label],
) -> Result<(Vec<Broken>, Vec<Label>)> {
    let ids: Vec<Uuid> = took_part.iter().map(|label| label.id).collect();
    let book = Book::new(encounters::rules(tx, permit).await?);
    let species = species(tx, permit, &ids).await?;
    let reach = (new.began_at - REACH, new.ended_at + REACH);
    let met = encounters::met(tx, permit, &ids, reach).await?;
    let site = permit.site();
    let proposed = Met { from: new.began_at, until: new.ended_at };
    let (mut broken, mut unlimited) = (Vec::new(), Vec::new());
    for label in took_part {
        let taxon = species.get(&label.id).copied().unwrap_or_default();
        let Some((_, limits)) = book.of(label.id, taxon) else {
            unlimited.push(label.clone());
            continue;
        };
        let before = met.get(&label.id).map_or(&[][..], Vec::as_slice);
        let breaches = would_break(before, proposed, &limits, site.zone);
        broken.extend(breaches.iter().map(|breach| Broken::new(label, breach, |at| site.day_of(at))));
    }
    Ok((broken, unlimited))
}

/// The species of animals.
async fn species(tx: &Tx, permit: &Permit, ids: &[Uuid]) -> Result<HashMap<Uuid, Uuid>> {
    let lens = lens_of(permit.site(), None, tx.now());
    let views = animals::views(tx, ids, lens).await?;
    Ok(views.into_iter().map(|animal| (animal.id, animal.taxon.id)).collect())
}

async fn on_record(snapshot: &Snapshot, permit: &Permit, id: Uuid) -> Result<Encounter> {
    let wanted = Wanted { id: Some(id), ..Wanted::default() };
    let found = encounters::encounters(snapshot, permit, wanted, 1).await?.pop();
    found.ok_or_else(|| Refusal::not_found("encounter", &id.to_string()).at("encounter_id").into())
}

/// Takes back a record of an encounter that was not held.
///
/// # Errors
/// Refused without the role there, or where there is no such record.
pub async fn withdraw(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    encounter: Uuid,
    because: &str,
) -> Result<Encounter> {
    let permit = records.permit(caller, Deed::Tend, site).await?;
    retrying("withdraw_encounter", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let encounter = on_record(&tx, &permit, encounter).await?;
        encounters::withdraw(&mut tx, encounter.id, because).await?;
        Ok(tx.commit(encounter).await?)
    })
    .await
}

/// Which encounters a list is about.
#[derive(Clone, Debug)]
pub struct Asked {
    pub site: String,
    /// All where empty.
    pub animal: String,
    pub days: Option<(NaiveDate, NaiveDate)>,
    pub incidents_only: bool,
    pub known_at: Option<DateTime<Utc>>,
}

/// Encounters of a site, newest first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such animal.
pub async fn list(
    records: &Records,
    caller: &Caller,
    asked: &Asked,
    page: &Page,
) -> Result<Slice<Encounter>> {
    let permit = records.permit(caller, Deed::Read, &asked.site).await?;
    let snapshot = records.look(caller, asked.known_at).await?;
    let mut wanted = Wanted {
        days: asked.days,
        incidents_only: asked.incidents_only,
        after: page.after.clone(),
        ..Wanted::default()
    };
    if !asked.animal.is_empty() {
        let now = records.store.now();
        let label = one_animal(&snapshot, Some(&permit), &asked.animal, now).await?;
        wanted.animal = Some(label.id);
    }
    let found = encounters::encounters(&snapshot, &permit, wanted, i64::from(page.size) + 1).await?;
    Ok(Slice::cut(found, page, |encounter| format!("{} {}", encounter.began_at.to_rfc3339(), encounter.id)))
}
