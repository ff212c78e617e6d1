//! Deaths: when the animal goes off the books, and what is found out afterwards.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::animal::Animal;
use crate::model::death::{Body, Death, Disposal, PostMortem};
use crate::model::fact::FactKind;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, guard_version, holder, one_locked, view};
use crate::store::animals::{self, Lock};
use crate::store::{Tx, corrections, deaths, retrying};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::{Map, json};
use uuid::Uuid;

/// What is told of a body after its death was recorded.
#[derive(Clone, Debug)]
pub struct Examined {
    pub animal: String,
    /// What is none or empty stays as it was.
    pub body: Body,
    pub because: String,
    /// Version of the animal that this was based on; 0 to skip the guard.
    pub version: i64,
}

/// Records a post-mortem or what became of a body: the record of the death is superseded by one that says it.
///
/// # Errors
/// Refused without the role there; where no death of the animal is on record, or another site recorded it.
pub async fn examined(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    told: &Examined,
) -> Result<Animal> {
    let permit = records.permit(caller, Deed::Examine, site).await?;
    retrying("record_post_mortem", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_locked(&tx, &permit, &told.animal, tx.now(), Lock::Change).await?;
        let animal = view(&tx, &permit, &label, tx.now()).await?;
        guard_version("animal", told.version, animal.version)?;
        let spoken = label.spoken();
        let standing = corrections::standing(&tx, label.id, FactKind::Death).await?;
        let Some(death) = standing.first() else {
            return Err(Refusal::new(
                Reason::OutOfOrder,
                format!("no death of {spoken} is recorded"),
                "record its death first",
            )
            .at("animal")
            .into());
        };
        if !holder::decides(&tx, &permit, label.id).await? {
            return Err(holder::elsewhere(&animal, FactKind::Death).into());
        }
        let body = &told.body;
        let mut columns = Map::new();
        if let Some(done) = body.post_mortem {
            columns.insert("post_mortem".to_owned(), json!(done.as_str()));
            columns.insert("post_mortem_result".to_owned(), json!(body.result));
        }
        if let Some(disposal) = body.disposal {
            columns.insert("disposal".to_owned(), json!(disposal.as_str()));
            columns.insert("disposal_name".to_owned(), json!(body.disposal_name));
        }
        corrections::replace(&mut tx, death, &columns, &told.because).await?;
        animals::bump(&mut tx, label.id).await?;
        let reply = view(&tx, &permit, &label, tx.now()).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Refuses an end of a life, or of a stay, before something that was seen of the animal later: one of the two
/// is wrong.
pub(super) async fn refuse_seen_later(
    tx: &Tx,
    animal: Uuid,
    spoken: &str,
    (dies, at, on): (bool, DateTime<Utc>, NaiveDate),
    field: &str,
) -> Result<()> {
    match deaths::later(tx, animal, at, on, dies).await? {
        Some(later) => Err(seen_later(spoken, &later.what, later.at).at(field).into()),
        None => Ok(()),
    }
}

pub(super) fn seen_later(spoken: &str, what: &str, at: DateTime<Utc>) -> Refusal {
    Refusal::new(
        Reason::OutOfOrder,
        format!("{spoken} {what} at {}, which is later", at.format("%Y-%m-%d %H:%M UTC")),
        "correct the time, or correct that record first",
    )
}

/// Refuses a death whose days contradict one another or the arrival of the animal.
pub(super) fn refuse_odd_days(
    death: &Death,
    held_since: Option<NaiveDate>,
    today: NaiveDate,
) -> std::result::Result<(), Refusal> {
    let odd = |say: String, field: &str| {
        Refusal::new(Reason::OutOfOrder, say, "correct one of the two days").at(field)
    };
    if death.found_on.is_some_and(|found| found > today) {
        return Err(Refusal::in_the_future("day on which it was found", "found_on"));
    }
    let Some((first, last)) = death.died else { return Ok(()) };
    if let Some(found) = death.found_on.filter(|found| *found < first) {
        return Err(odd(format!("it was found on {found} and died on {first} or later"), "found_on"));
    }
    // Of a day that is known whole, the instant is asked for more closely than this.
    if let Some(since) = held_since.filter(|since| first < last && last < *since) {
        return Err(odd(
            format!("it died on {last} or before, but came into the stock on {since}"),
            "died_on",
        ));
    }
    Ok(())
}

/// Whether what is told of a body holds together: which field does not, what is wrong, and what to do instead.
#[must_use]
pub fn flaw(body: &Body) -> Option<(&'static str, &'static str, &'static str)> {
    if !body.result.is_empty() && body.post_mortem != Some(PostMortem::Done) {
        let say = "is given, but the post-mortem was not done";
        return Some(("post_mortem_result", say, "record that it was done, or put this into the note"));
    }
    match body.disposal {
        Some(Disposal::Collection) if body.disposal_name.is_empty() => {
            Some(("disposal_name", "is missing", "name the museum or collection that has the carcass"))
        }
        None if !body.disposal_name.is_empty() => {
            Some(("disposal", "is missing", "give the disposal of the carcass, or leave out the name"))
        }
        _ => None,
    }
}
