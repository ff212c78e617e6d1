//! Placements: which enclosure animals live in.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, not_held, refuse_on_the_road, the_one, view};
use crate::store::animals::{Lock, Reference};
use crate::store::{Tx, animals, holdings, placements, retrying, sites};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What moving animals comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Placed {
    /// Animals that were moved; those that lived there already are not counted.
    pub moved: usize,
    /// Animals that live there now.
    pub occupants: usize,
    /// Whether that is more than the enclosure is meant for.
    pub over_capacity: bool,
}

/// Moves animals that a site holds into one of its enclosures: all of them, or none.
///
/// # Errors
/// Refused without the role there; where there is no such enclosure, the site does not hold one of the
/// animals, or the time does not fit.
pub async fn place(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    refs: &[String],
    enclosure: &str,
    at: Option<DateTime<Utc>>,
) -> Result<Placed> {
    let permit = records.permit(caller, Deed::Place, site).await?;
    retrying("place_animals", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let at = at.unwrap_or_else(|| tx.now());
        if at > tx.now() {
            return Err(Refusal::in_the_future("time", "placed_at").into());
        }
        let wanted = named(&tx, &permit, refs).await?;
        let placed =
            move_into(&mut tx, &permit, &wanted, Away::Refused, enclosure, (at, "placed_at")).await?;
        Ok(tx.commit(placed).await?)
    })
    .await
}

/// The animals that references mean, each once, locked against a change of holder; refused where the site
/// does not hold one of them.
pub(super) async fn named(tx: &Tx, permit: &Permit, refs: &[String]) -> Result<Vec<Label>> {
    let references: Vec<Reference> =
        refs.iter().map(|text| Reference { text: text.clone(), at: tx.now() }).collect();
    let meant = animals::lock(tx, permit, &references, Lock::Change).await?;
    let mut wanted: Vec<Label> = Vec::with_capacity(meant.len());
    for (n, (meant, text)) in meant.into_iter().zip(refs).enumerate() {
        let field = format!("animals[{n}]");
        let label = the_one(meant, text).map_err(|refusal| refusal.at(field.clone()))?;
        let animal = view(tx, permit, &label, tx.now()).await?;
        if let Some(refusal) = not_held(tx, permit, &animal).await? {
            return Err(refusal.at(field).into());
        }
        if !wanted.iter().any(|known| known.id == label.id) {
            wanted.push(label);
        }
    }
    Ok(wanted)
}

pub(super) fn ids_of(animals: &[Label]) -> Vec<Uuid> {
    animals.iter().map(|label| label.id).collect()
}

/// What becomes of an animal that is on the road as it is to be moved.
pub(super) enum Away {
    /// It cannot be moved, and nobody is.
    Refused,
    /// The others are moved without it.
    Left,
}

/// Moves animals that are locked into an enclosure at one instant, which a field of the request gives.
pub(super) async fn move_into(
    tx: &mut Tx,
    permit: &Permit,
    animals: &[Label],
    away: Away,
    enclosure: &str,
    (at, field): (DateTime<Utc>, &str),
) -> Result<Placed> {
    let target = sites::enclosure(tx, permit, enclosure)
        .await?
        .ok_or_else(|| Refusal::not_found("enclosure", enclosure))?;
    let held = holdings::of(tx, &ids_of(animals)).await?;
    if held.iter().any(|holding| holding.ended_at.is_none() && at < holding.began_at) {
        return Err(out_of_order("the site did not hold one of the animals then", field).into());
    }
    let mut wanted: Vec<Uuid> = Vec::with_capacity(animals.len());
    for (n, animal) in animals.iter().enumerate() {
        match (refuse_on_the_road(&held, permit, animal, at), &away) {
            (Ok(()), _) => wanted.push(animal.id),
            (Err(_), Away::Left) => {}
            (Err(refusal), Away::Refused) => return Err(refusal.at(format!("animals[{n}]")).into()),
        }
    }
    let open = placements::open(tx, &wanted).await?;
    // Also where that is there: it would be told to have come with the others, and came later.
    if open.iter().any(|placement| at < placement.began_at) {
        let say = "one of the animals moved to where it lives now after that";
        return Err(out_of_order(say, field).into());
    }
    let (there, elsewhere): (Vec<_>, Vec<_>) =
        open.into_iter().partition(|placement| placement.enclosure_id == target.id);
    for placement in elsewhere {
        placements::close(tx, placement, at).await?;
    }
    let moving: Vec<Uuid> = wanted
        .into_iter()
        .filter(|animal| !there.iter().any(|placement| placement.animal_id == *animal))
        .collect();
    placements::begin(tx, permit, &moving, target.id, at).await?;
    let occupants = sites::occupants(tx, permit, target.id, tx.now()).await?.len();
    let capacity = usize::try_from(target.capacity).unwrap_or(0);
    Ok(Placed { moved: moving.len(), occupants, over_capacity: capacity > 0 && occupants > capacity })
}

fn out_of_order(say: &str, field: &str) -> Refusal {
    Refusal::new(Reason::OutOfOrder, say, "correct the time").at(field)
}
