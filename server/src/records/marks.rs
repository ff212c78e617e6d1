//! Marks: how animals are told apart.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::mark::{Mark, NewMark};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::refuse_marks_in_use;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, held_now};
use crate::store::{animals, holdings, marks, retrying};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Puts a mark on an animal that the site holds.
///
/// # Errors
/// Refused without the role there; where the site does not hold the animal, the time does not fit, or a
/// transponder is in force on another animal.
pub async fn apply(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    animal: &str,
    new: &NewMark,
    at: Option<DateTime<Utc>>,
) -> Result<Mark> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("apply_mark", || async {
        let mut tx = fresh!(records.store.write(caller, request).await?);
        tx.at_site(permit.site().id);
        let found = held_now(&tx, &permit, animal).await?;
        let at = at.unwrap_or_else(|| tx.now());
        if at > tx.now() {
            return Err(Refusal::in_the_future("time", "applied_at").into());
        }
        let first = holdings::of(&tx, &[found.id]).await?.first().map(|holding| holding.began_at);
        if first.is_some_and(|first| at < first) {
            return Err(Refusal::new(
                Reason::OutOfOrder,
                "the animal was not on anybody's books then",
                "correct the time",
            )
            .at("applied_at")
            .into());
        }
        let new = std::slice::from_ref(new);
        refuse_marks_in_use(&tx, &permit, found.id, new, at).await?;
        let mut applied = marks::apply(&mut tx, &permit, found.id, new, at).await?;
        animals::bump(&mut tx, found.id).await?;
        let mark = applied.pop().ok_or_else(|| Refusal::not_found("mark", &new[0].code))?;
        Ok(tx.commit(mark).await?)
    })
    .await
}

/// A mark that is no longer there.
#[derive(Clone, Debug)]
pub struct Gone {
    pub animal: String,
    pub mark: Uuid,
    /// When; now where none.
    pub at: Option<DateTime<Utc>>,
    pub why: String,
}

/// Records that a mark is no longer there.
///
/// # Errors
/// Refused without the role there; where the site does not hold the animal, it has no such mark in force,
/// or the time does not fit.
pub async fn end(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    gone: &Gone,
) -> Result<Mark> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    let unknown = || Refusal::not_found("mark in force", &gone.mark.to_string());
    retrying("end_mark", || async {
        let mut tx = fresh!(records.store.write(caller, request).await?);
        tx.at_site(permit.site().id);
        let found = held_now(&tx, &permit, &gone.animal).await?;
        let in_force = found.marks.iter().find(|known| known.id == gone.mark).ok_or_else(unknown)?;
        let at = gone.at.unwrap_or_else(|| tx.now());
        if at > tx.now() {
            return Err(Refusal::in_the_future("time", "ended_at").into());
        }
        if at < in_force.began_at {
            return Err(Refusal::new(
                Reason::OutOfOrder,
                "the mark was not there yet then",
                "correct the time",
            )
            .at("ended_at")
            .into());
        }
        let mut ended = marks::end(&mut tx, &permit, found.id, Some(gone.mark), at, &gone.why).await?;
        animals::bump(&mut tx, found.id).await?;
        let mark = ended.pop().ok_or_else(unknown)?;
        Ok(tx.commit(mark).await?)
    })
    .await
}
