//! Enrichment: items and terms are set, what was offered and how it was met is recorded.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::enrichment::{Company, Content, Item, Met, NewItem, NewOffer, Offer, Recorded, Terms, To};
use crate::model::page::{Page, Slice};
use crate::model::request::Request;
use crate::records::animals::lens_of;
use crate::records::climate::house;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, groups, taxa};
use crate::store::enrichment::{self, NewRow, Wanted};
use crate::store::{Tx, retrying};
use chrono::{DateTime, Days, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use uuid::Uuid;

/// What came of saying something of an item.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ItemSet {
    pub item: Item,
    /// Something else was said of it before.
    pub changed: bool,
}

/// Puts an item on record, or says something else of the one of that name.
///
/// # Errors
/// Refused without the role there, or where there is no species of a name.
pub async fn set_item(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewItem,
    because: &str,
) -> Result<ItemSet> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("set_enrichment_item", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let mut not_for = Vec::with_capacity(new.content.not_for.len());
        for (n, name) in new.content.not_for.iter().enumerate() {
            let taxon =
                taxa::one(&tx, name).await.map_err(|error| at(error, &format!("item.not_for[{n}]")))?;
            not_for.push(taxon.id);
        }
        let content = Content {
            staff_minutes: new.content.staff_minutes,
            rest_days: new.content.rest_days,
            hazards: new.content.hazards.clone(),
            not_for,
            kcal: new.content.kcal,
            note: new.content.note.clone(),
        };
        let items = enrichment::items(&tx, &permit).await?;
        let on_record = named(&items, &new.name).map(|item| item.id);
        let said = (new.name.as_str(), new.kind, &content, new.out_of_use);
        let id = enrichment::set_item(&mut tx, &permit, on_record, said, because).await?;
        let items = enrichment::items(&tx, &permit).await?;
        let item = named(&items, &id.to_string()).cloned();
        let item = item.ok_or_else(|| Refusal::not_found("item", &new.name))?;
        Ok(tx.commit(ItemSet { item, changed: on_record.is_some() }).await?)
    })
    .await
}

/// The same refusal, about a field.
fn at(error: crate::records::error::Error, field: &str) -> crate::records::error::Error {
    use crate::records::error::Error;
    match error {
        Error::Refused(refusal) => refusal.at(field).into(),
        fault @ Error::Fault(_) => fault,
    }
}

/// Items of a site.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn items(
    records: &Records,
    caller: &Caller,
    site: &str,
    also_out_of_use: bool,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<Item>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, known_at).await?;
    let mut items = enrichment::items(&snapshot, &permit).await?;
    items.retain(|item| also_out_of_use || !item.out_of_use);
    Ok(items)
}

/// The item of a name in any case, or of an identifier.
fn named<'i>(items: &'i [Item], text: &str) -> Option<&'i Item> {
    let wanted = text.trim().to_lowercase();
    items.iter().find(|item| item.name.to_lowercase() == wanted || item.id.to_string() == wanted)
}

/// What holds for a group, with its name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TermsSet {
    pub group: String,
    pub terms: Terms,
}

/// Says what holds for a group.
///
/// # Errors
/// Refused without the role there, or where the site has no such group.
pub async fn set_terms(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &TermsSet,
    because: &str,
) -> Result<TermsSet> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("set_enrichment_terms", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let lens = lens_of(permit.site(), None, tx.now());
        let group = groups::one(&tx, &permit, &new.group, lens).await?;
        enrichment::set_terms(&mut tx, &permit, group.id, &new.terms, because).await?;
        Ok(tx.commit(TermsSet { group: group.name, terms: new.terms.clone() }).await?)
    })
    .await
}

/// Records what was offered: all of it, or nothing. What should not have been is recorded all the same, for it
/// was, and told.
///
/// # Errors
/// Refused without the role there; where the site has no such group, enclosure or item, or a time is to come.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &[NewOffer],
) -> Result<Recorded> {
    let permit = records.permit(caller, Deed::Tend, site).await?;
    retrying("record_enrichment", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let items = enrichment::items(&tx, &permit).await?;
        let rows = placed(&tx, &permit, &items, new).await?;
        let mut warnings = Vec::new();
        for (n, row) in rows.iter().enumerate() {
            if let Some(item) = items.iter().find(|item| item.id == row.item) {
                let (company, offered) = company(&tx, &permit, row, item).await?;
                // What the same request offers before it counts, too.
                let before = rows[..n].iter().filter(|other| {
                    other.item == row.item && (other.group, other.enclosure) == (row.group, row.enclosure)
                });
                let day = |at| permit.site().day_of(at);
                let offered: Vec<NaiveDate> =
                    offered.into_iter().chain(before.map(|other| day(other.given_at))).collect();
                let objections = item.objections(&company, &offered, day(row.given_at));
                warnings.extend(objections.into_iter().map(|objection| (n, objection)));
            }
        }
        let ids = enrichment::insert(&mut tx, &permit, &rows).await?;
        let wanted = Wanted { ids: Some(ids.clone()), ..Wanted::default() };
        let mut offers = enrichment::offers(&tx, &permit, wanted).await?;
        offers.sort_by_key(|offer| ids.iter().position(|id| *id == offer.id));
        Ok(tx.commit(Recorded { offers, warnings }).await?)
    })
    .await
}

/// Finds to whom, what and when; items that are not there are told at once.
async fn placed(tx: &Tx, permit: &Permit, items: &[Item], new: &[NewOffer]) -> Result<Vec<NewRow>> {
    let mut refusal: Option<Refusal> = None;
    let mut known: HashMap<(bool, &str), Uuid> = HashMap::new();
    let mut rows = Vec::with_capacity(new.len());
    for (n, offer) in new.iter().enumerate() {
        let given_at = offer.at.unwrap_or_else(|| tx.now());
        if given_at > tx.now() {
            let field = format!("offers[{n}].given_at");
            return Err(Refusal::in_the_future("time of the offer", &field).into());
        }
        let Some(item) = named(items, &offer.item) else {
            let mut missing = Refusal::not_found("item", &offer.item);
            "add the item first".clone_into(&mut missing.mend);
            let missing = missing.at(format!("offers[{n}].item"));
            match &mut refusal {
                None => refusal = Some(missing),
                Some(first) => first.at.extend(missing.at),
            }
            continue;
        };
        let (group, enclosure) = match &offer.to {
            To::Group(name) => {
                let lens = lens_of(permit.site(), None, tx.now());
                let id = match known.get(&(true, name.as_str())) {
                    Some(id) => *id,
                    None => groups::one(tx, permit, name, lens).await?.id,
                };
                known.insert((true, name.as_str()), id);
                (Some(id), None)
            }
            To::Enclosure(name) => {
                let id = match known.get(&(false, name.as_str())) {
                    Some(id) => *id,
                    None => house(tx, permit, name).await?.id,
                };
                known.insert((false, name.as_str()), id);
                (None, Some(id))
            }
        };
        let note = offer.note.clone();
        rows.push(NewRow { group, enclosure, item: item.id, given_at, met: offer.met, note });
    }
    refusal.map_or(Ok(rows), |refusal| Err(refusal.into()))
}

/// Whom an item is offered to, and on which days of its rest it was offered to them before.
async fn company(tx: &Tx, permit: &Permit, row: &NewRow, item: &Item) -> Result<(Company, Vec<NaiveDate>)> {
    let on = permit.site().day_of(row.given_at);
    let mut wanted =
        Wanted { days: Some((on - Days::new(item.content.rest_days.into()), on)), ..Wanted::default() };
    let mut company = Company::default();
    match (row.group, row.enclosure) {
        (Some(group), _) => {
            wanted.group = Some(group);
            company.terms = enrichment::terms(tx, permit, group).await?;
            let species = enrichment::species_of_group(tx, permit, group, row.given_at).await?;
            company.species.extend(species);
        }
        (None, Some(enclosure)) => {
            wanted.enclosure = Some(enclosure);
            let species = enrichment::species_in(tx, permit, enclosure, row.given_at).await?;
            company.species.extend(species);
        }
        (None, None) => {}
    }
    let before = enrichment::offers(tx, permit, wanted).await?;
    let days = before.iter().filter(|offer| offer.item == item.id).map(|offer| offer.given_on);
    Ok((company, days.collect()))
}

async fn on_record(tx: &Tx, permit: &Permit, id: Uuid) -> Result<Offer> {
    let wanted = Wanted { ids: Some(vec![id]), ..Wanted::default() };
    let found = enrichment::offers(tx, permit, wanted).await?.pop();
    found.ok_or_else(|| Refusal::not_found("offer", &id.to_string()).at("offer_id").into())
}

/// Records how something that was offered was met.
///
/// # Errors
/// Refused without the role there, or where there is no such record.
pub async fn record_use(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    offer: Uuid,
    met: Met,
) -> Result<Offer> {
    let permit = records.permit(caller, Deed::Tend, site).await?;
    retrying("record_enrichment_use", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let known = on_record(&tx, &permit, offer).await?;
        enrichment::set_met(&mut tx, known.id, met).await?;
        let offer = on_record(&tx, &permit, offer).await?;
        Ok(tx.commit(offer).await?)
    })
    .await
}

/// Takes back a record of something that was not offered.
///
/// # Errors
/// Refused without the role there, or where there is no such record.
pub async fn withdraw(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    offer: Uuid,
    because: &str,
) -> Result<Offer> {
    let permit = records.permit(caller, Deed::Tend, site).await?;
    retrying("withdraw_enrichment", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let offer = on_record(&tx, &permit, offer).await?;
        enrichment::withdraw(&mut tx, offer.id, because).await?;
        Ok(tx.commit(offer).await?)
    })
    .await
}

/// Which offers a list is about.
#[derive(Clone, Debug)]
pub struct Asked {
    pub site: String,
    /// All where empty.
    pub group: String,
    pub enclosure: String,
    pub days: Option<(NaiveDate, NaiveDate)>,
    pub known_at: Option<DateTime<Utc>>,
}

/// What was offered at a site, newest first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such group or enclosure.
pub async fn list(records: &Records, caller: &Caller, asked: &Asked, page: &Page) -> Result<Slice<Offer>> {
    let permit = records.permit(caller, Deed::Read, &asked.site).await?;
    let snapshot = records.look(caller, asked.known_at).await?;
    let mut wanted = Wanted {
        days: asked.days,
        after: page.after.clone(),
        most: Some(i64::from(page.size) + 1),
        ..Wanted::default()
    };
    if !asked.group.is_empty() {
        let lens = lens_of(permit.site(), None, records.store.now());
        wanted.group = Some(groups::one(&snapshot, &permit, &asked.group, lens).await?.id);
    }
    if !asked.enclosure.is_empty() {
        wanted.enclosure = Some(house(&snapshot, &permit, &asked.enclosure).await?.id);
    }
    let offers = enrichment::offers(&snapshot, &permit, wanted).await?;
    Ok(Slice::cut(offers, page, |offer| format!("{} {}", offer.given_at.to_rfc3339(), offer.id)))
}
