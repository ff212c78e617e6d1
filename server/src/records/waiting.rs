//! Readings that wait for a second weighing: due until there is one, or until a person accepts or withdraws them.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::check::{DueItem, DueState, Duty, Waiting};
use crate::model::fact::FactKind;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::weight::Forecast;
use crate::records::corrections::{self, Change, Corrected, Why};
use crate::records::error::{Refusal, Result};
use crate::records::{Records, expected, fresh, guard_version, held_now};
use crate::store::animals::{Lens, Stay};
use crate::store::{Snapshot, retrying, weights};
use chrono::{DateTime, Utc};
use holt_audit::expected::Expected;
use holt_audit::terms::Mass;
use std::collections::HashMap;
use uuid::Uuid;

/// Days after which a reading that waits is overdue: a weekly round has gone by. Common practice, no source.
const GRACE_DAYS: i64 = 7;

/// The animals of a site that have a reading that waits, as of the instant of a lens.
///
/// # Errors
/// Faults only.
pub(crate) async fn due<'s>(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    lens: Lens,
    held: impl Iterator<Item = &'s Stay>,
) -> Result<Vec<DueItem>> {
    let held: HashMap<Uuid, &Stay> = held.map(|stay| (stay.animal.id, stay)).collect();
    let mut ids: Vec<Uuid> = held.keys().copied().collect();
    ids.sort_unstable();
    let doubtful = weights::latest_doubtful(snapshot, permit, &ids, lens.at).await?;
    let animals: Vec<Uuid> = doubtful.iter().map(|one| one.animal_id).collect();
    if animals.is_empty() {
        return Ok(Vec::new());
    }
    let seen = expected::look(records, snapshot, permit, &animals, lens.at).await?;
    let items = doubtful.into_iter().filter_map(|one| {
        let stay = held.get(&one.animal_id)?;
        let seen = seen.iter().find(|seen| seen.book.life(one.animal_id).is_some())?;
        let waiting = seen.waiting(one.animal_id);
        let (_, since) = waiting.first().filter(|_| waiting.iter().any(|(id, _)| *id == one.id))?;
        let Expected { mass: expected, low, high, .. } = seen.expects(one.animal_id, lens.at)?;
        let due_on = permit.site().day_of(*since);
        let late = (lens.day - due_on).num_days();
        Some(DueItem {
            check: one.id,
            duty: Duty::WeighAgain,
            by_whom: String::new(),
            animal: stay.animal.clone(),
            enclosure: stay.enclosure.as_ref().map(|(_, name)| name.clone()).unwrap_or_default(),
            state: if late > GRACE_DAYS { DueState::Overdue } else { DueState::Due },
            due_on,
            days_late: i32::try_from(late).unwrap_or(i32::MAX),
            open_dues: 1,
            last_done_on: seen.latest(one.animal_id).map(|(_, at, _)| permit.site().day_of(at)),
            tried_on: None,
            waiting: Some(Waiting {
                mass: Mass::from_mg(one.mass_mg),
                forecast: Forecast { expected, low, high },
                weighed_at: one.weighed_at,
                day_only: one.day_only,
                recorded_by: one.recorded_by.unwrap_or_default(),
            }),
        })
    });
    Ok(items.collect())
}

/// A reading that somebody vouches for.
#[derive(Clone, Debug)]
pub struct Accepted {
    pub animal: String,
    pub weight: Uuid,
    pub because: String,
    /// Version of the animal that this was based on; 0 to skip the guard.
    pub version: i64,
}

/// Accepts a reading that waits: it counts from its own instant on.
///
/// # Errors
/// Refused without the role there; where the site does not hold the animal, there is no such reading, another site or
/// somebody else recorded it, or it does not wait.
pub async fn accept(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    accepted: &Accepted,
) -> Result<Corrected> {
    let permit = records.permit(caller, Deed::Correct, site).await?;
    retrying("accept_weight", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let animal = held_now(&tx, &permit, &accepted.animal).await?;
        guard_version("animal", accepted.version, animal.version)?;
        let fact = corrections::standing_fact(&tx, &animal, accepted.weight).await?;
        if fact.kind != FactKind::Weight {
            return Err(Refusal::not_found("reading", &accepted.weight.to_string()).into());
        }
        corrections::refuse_anothers_reading(caller, &permit, &fact, "accept")?;
        if !waits(records, &tx, &permit, animal.id, fact.id(), tx.now()).await? {
            return Err(Refusal::new(
                Reason::ReadingDoesNotWait,
                format!("this reading of {} does not wait for a second weighing", animal.label().spoken()),
                "look at what is due: it may count by now, or a later reading may contradict it",
            )
            .at("weight_id")
            .into());
        }
        let change = Change { accepted: Some(true), ..Change::default() };
        let why = Why { because: accepted.because.clone(), consents: None };
        let what = (fact.id(), Some(&change));
        let told = corrections::make(records, caller, &mut tx, &permit, &animal, what, &why).await?;
        Ok(tx.commit(told).await?)
    })
    .await
}

/// Whether a reading of an animal waits for another.
async fn waits(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    animal: Uuid,
    reading: Uuid,
    at: DateTime<Utc>,
) -> Result<bool> {
    let seen = expected::look(records, snapshot, permit, &[animal], at).await?;
    Ok(seen.iter().any(|seen| seen.waiting(animal).iter().any(|(id, _)| *id == reading)))
}
