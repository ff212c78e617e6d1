//! What is left today of the limits of encounters, animal by animal.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Filter;
use crate::model::encounter::{Allowance, Broken};
use crate::model::page::Page;
use crate::records::animals::lens_of;
use crate::records::encounters::{Book, REACH};
use crate::records::error::Result;
use crate::records::{Records, groups as rules};
use crate::store::animals::{self, Lens};
use crate::store::{Snapshot, encounters, groups};
use chrono::{DateTime, Days, Utc};
use holt_audit::encounters::{Left, breaches, left};
use uuid::Uuid;

/// More animals than any site holds.
const ALL: u32 = 1_000_000;

/// Of whom, and when.
#[derive(Clone, Debug)]
pub struct Question {
    pub site: String,
    /// Of all animals with limits where empty.
    pub group: String,
    /// Now where none.
    pub at: Option<DateTime<Utc>>,
    pub known_at: Option<DateTime<Utc>>,
}

/// What is left of the limits of each animal on the day of an instant. Of a group all its members are told, of a
/// site those that have limits.
///
/// # Errors
/// Refused where there is no such site in scope, or it has no such group.
pub async fn allowances(records: &Records, caller: &Caller, question: &Question) -> Result<Vec<Allowance>> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let at = question.at.unwrap_or_else(|| records.store.now());
    let lens = Lens { at, ..lens_of(permit.site(), Some(permit.site().day_of(at)), records.store.now()) };
    let snapshot = records.look(caller, question.known_at).await?;
    if question.group.is_empty() {
        let page = Page { size: ALL, after: None };
        let held = animals::held(&snapshot, &permit, lens, &Filter::default(), &page).await?.entries;
        let ids: Vec<Uuid> = held.into_iter().map(|(id, _)| id).collect();
        let mut all = told(&snapshot, &permit, &ids, lens).await?;
        all.retain(|allowance| allowance.limits.is_some());
        return Ok(all);
    }
    let group = rules::one(&snapshot, &permit, &question.group, lens).await?;
    let members = groups::members(&snapshot, &permit, group.id, at).await?;
    let ids: Vec<Uuid> = members.iter().map(|member| member.animal).collect();
    told(&snapshot, &permit, &ids, lens).await
}

/// The same of these animals, by accession, in a snapshot that is there.
pub(crate) async fn told(
    snapshot: &Snapshot,
    permit: &Permit,
    ids: &[Uuid],
    lens: Lens,
) -> Result<Vec<Allowance>> {
    let site = permit.site();
    let book = Book::new(encounters::rules(snapshot, permit).await?);
    let met = encounters::met(snapshot, permit, ids, (lens.at - REACH, lens.at + REACH)).await?;
    let mut views = animals::views(snapshot, ids, lens).await?;
    views.sort_by(|a, b| a.accession.cmp(&b.accession));
    let first = lens.day - Days::new(6);
    let told = views.into_iter().map(|animal| {
        let label = animal.label();
        let own = met.get(&animal.id).map_or(&[][..], Vec::as_slice);
        let limits = book.of(animal.id, animal.taxon.id);
        let broken = limits.map(|(_, limits)| {
            let breaches = breaches(own, &limits, site.zone, first, lens.day);
            breaches.iter().map(|breach| Broken::new(&label, breach, |at| site.day_of(at))).collect()
        });
        let left = limits.map_or(Left::default(), |(_, limits)| left(own, &limits, site.zone, lens.at));
        Allowance { limits, left, broken: broken.unwrap_or_default(), animal: label }
    });
    Ok(told.collect())
}
