//! Alarm and upset: what befell a whole group is recorded with what was done and how long it lasted.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::page::{Page, Slice};
use crate::model::request::Request;
use crate::model::upset::{NewUpset, Upset};
use crate::records::animals::lens_of;
use crate::records::error::{Refusal, Result};
use crate::records::watches::Asked;
use crate::records::{Records, fresh, groups, held_then};
use crate::store::animals::Reference;
use crate::store::retrying;
use crate::store::upsets::{self, Wanted};
use chrono::TimeDelta;

/// Records an upset of a group.
///
/// # Errors
/// Refused without the role there; where there is no such group or animal, the site did not hold it then, or
/// the time is in the future.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewUpset,
) -> Result<Upset> {
    let permit = records.permit(caller, Deed::Observe, site).await?;
    retrying("record_upset", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let at = new.began_at.unwrap_or_else(|| tx.now());
        if at > tx.now() {
            return Err(Refusal::in_the_future("time", "began_at").into());
        }
        let calm = new.calm_after_minutes.map(|minutes| at + TimeDelta::minutes(minutes.into()));
        if calm.is_some_and(|calm| calm > tx.now()) {
            return Err(Refusal::in_the_future("calm", "calm_after_minutes").into());
        }
        let group = groups::one(&tx, &permit, &new.group, lens_of(permit.site(), None, tx.now())).await?;
        let references: Vec<Reference> =
            new.animals.iter().map(|text| Reference { text: text.clone(), at }).collect();
        let found = held_then(&tx, &permit, &references, |n| format!("animals[{n}]")).await?;
        let ids = found.iter().map(|label| label.id).collect();
        let id = upsets::insert(&mut tx, &permit, group.id, (new, at), ids).await?;
        let wanted = Wanted { id: Some(id), ..Wanted::default() };
        let mut there = upsets::list(&tx, &permit, &wanted, &Page { size: 1, after: None }).await?.entries;
        let upset = there.pop().ok_or_else(|| Refusal::not_found("upset", &id.to_string()))?;
        Ok(tx.commit(upset).await?)
    })
    .await
}

/// Upsets, newest first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such group.
pub async fn list(records: &Records, caller: &Caller, asked: &Asked, page: &Page) -> Result<Slice<Upset>> {
    let permit = records.permit(caller, Deed::Read, &asked.site).await?;
    let snapshot = records.look(caller, asked.known_at).await?;
    let (group, during) = asked.found(&snapshot, &permit, records.store.now()).await?;
    Ok(upsets::list(&snapshot, &permit, &Wanted { group, during, ..Wanted::default() }, page).await?)
}
