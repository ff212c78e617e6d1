//! Marks: how animals are told apart.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::animal::Animal;
use crate::model::mark::{Mark, NewMark};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::refuse_marks_in_use;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, held_now};
use crate::store::{Tx, animals, holdings, marks, retrying};
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
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let found = held_now(&tx, &permit, animal).await?;
        let at = at.unwrap_or_else(|| tx.now());
        if at > tx.now() {
            return Err(Refusal::in_the_future("time", "applied_at").into());
        }
        let first = holdings::of(&tx, &[found.id]).await?.first().map(|holding| holding.began_at);
        if first.is_some_and(|first| at < first) {
            return Err(Refusal::new(Reason::OutOfOrder, "nobody held the animal then", "correct the time")
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
    retrying("end_mark", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let found = held_now(&tx, &permit, &gone.animal).await?;
        let (_, at) = ending(&tx, &found, gone, "ended_at")?;
        let mark = let_go(&mut tx, &found, gone, at).await?;
        animals::bump(&mut tx, found.id).await?;
        Ok(tx.commit(mark).await?)
    })
    .await
}

/// Records that a mark gave way to another: answers both, the old one first.
///
/// # Errors
/// The same, and where the new mark is of another kind, is the old one, or is a transponder in force on another
/// animal.
pub async fn replace(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    gone: &Gone,
    new: &NewMark,
) -> Result<(Mark, Mark)> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("replace_mark", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let found = held_now(&tx, &permit, &gone.animal).await?;
        let (old, at) = ending(&tx, &found, gone, "replaced_at")?;
        fits_in_place_of(old, new)?;
        let new = std::slice::from_ref(new);
        refuse_marks_in_use(&tx, &permit, found.id, new, at).await?;
        let ended = let_go(&mut tx, &found, gone, at).await?;
        let mut began = marks::apply(&mut tx, &permit, found.id, new, at).await?;
        animals::bump(&mut tx, found.id).await?;
        let began = began.pop().ok_or_else(|| unknown(gone))?;
        Ok(tx.commit((ended, began)).await?)
    })
    .await
}

fn unknown(gone: &Gone) -> Refusal {
    Refusal::not_found("mark in force", &gone.mark.to_string())
}

/// The mark that ends, and when.
fn ending<'a>(
    tx: &Tx,
    animal: &'a Animal,
    gone: &Gone,
    field: &str,
) -> std::result::Result<(&'a Mark, DateTime<Utc>), Refusal> {
    let in_force = animal.marks.iter().find(|known| known.id == gone.mark).ok_or_else(|| unknown(gone))?;
    let at = gone.at.unwrap_or_else(|| tx.now());
    if at > tx.now() {
        return Err(Refusal::in_the_future("time", field));
    }
    if at < in_force.began_at {
        let say = "the mark was not there yet then";
        return Err(Refusal::new(Reason::OutOfOrder, say, "correct the time").at(field));
    }
    Ok((in_force, at))
}

/// Refuses a mark that is no other one of the same kind.
fn fits_in_place_of(old: &Mark, new: &NewMark) -> std::result::Result<(), Refusal> {
    if old.kind != new.kind {
        return Err(Refusal::new(
            Reason::Malformed,
            "the new mark is not of the same kind as the old one",
            "end the one and apply the other",
        )
        .at("mark.kind"));
    }
    if old.code.to_lowercase() == new.code.to_lowercase() {
        return Err(Refusal::new(
            Reason::Exists,
            format!("the animal has this mark already: {}", old.code),
            "read the new one again; if the old one was recorded wrong, correct it",
        )
        .at("mark.code"));
    }
    Ok(())
}

/// Ends the mark.
async fn let_go(tx: &mut Tx, animal: &Animal, gone: &Gone, at: DateTime<Utc>) -> Result<Mark> {
    let mut ended = marks::end(tx, animal.id, Some(gone.mark), at, &gone.why).await?;
    Ok(ended.pop().ok_or_else(|| unknown(gone))?)
}
