//! Litters: young of one birth, counted until each is dead or an animal of its own.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Born, Label};
use crate::model::crate_reading::{CrateReading, Of};
use crate::model::holding::Began;
use crate::model::kinship::Known;
use crate::model::litter::{
    Change, Correction, Event, Litter, NewEvent, NewLitter, NewYoung, ToldApart, Wrong,
};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::taxon::Taxon;
use crate::records::animals::{Entry, lens_of, onto_the_books, owner};
use crate::records::error::{Refusal, Result};
use crate::records::parents::{Birth, Named};
use crate::records::{Records, fresh, guard_version, life_states, taxa};
use crate::store::animals::{First, Lens, Parent};
use crate::store::holdings::Beginning;
use crate::store::litters::{self, Wanted};
use crate::store::{Snapshot, Tx, crate_readings, retrying};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::{Counts, Sex};
use uuid::Uuid;

/// Records the birth of a litter.
///
/// # Errors
/// Refused without the role there; where the day is to come, the species is not on record, or a parent does
/// not fit.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewLitter,
) -> Result<Litter> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("record_litter", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        if new.born_on > permit.site().day_of(tx.now()) {
            return Err(Refusal::in_the_future("day of birth", "born_on").into());
        }
        let named = Named::find(&tx, &permit, &new.parents, "").await?;
        let taxon = species(&tx, &new.taxon, named.animals()).await?;
        let birth = born_here(&taxon, new.born_on, &new.parents.because);
        let parents = named.fit(&tx, &permit, &birth).await?;
        life_states::bears(&mut tx, &permit, &parents, new.born_on).await?;
        let id = litters::insert(&mut tx, &permit, &taxon, new, &parents).await?;
        let mut reply = today(&tx, &permit, id).await?;
        reply.taxon = reply.taxon.asked_as(&new.taxon);
        Ok(tx.commit(reply).await?)
    })
    .await
}

const fn born_here<'a>(taxon: &'a Taxon, on: NaiveDate, because: &'a str) -> Birth<'a> {
    Birth { taxon, days: Some((on, on)), here: true, because }
}

/// The species of a litter: as it is named, or else that of a parent.
async fn species(tx: &Tx, named: &str, mut parents: impl Iterator<Item = &Animal> + Send) -> Result<Taxon> {
    if !named.is_empty() {
        return taxa::one(tx, named).await;
    }
    parents.next().map(|parent| parent.taxon.clone()).ok_or_else(|| {
        Refusal::new(
            Reason::Malformed,
            "neither a species nor a parent is given",
            "name the species, or a parent",
        )
        .at("taxon")
        .into()
    })
}

/// Records what happened within a litter.
///
/// # Errors
/// Refused without the role there; where the site has no such litter, the day does not fit, or fewer young
/// are counted than the event is about.
pub async fn happened(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewEvent,
) -> Result<Litter> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("record_litter_event", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let litter = locked(&tx, &permit, new.litter, new.version).await?;
        let on = day_in(&tx, &permit, &litter, new.on, "happened_on")?;
        let (on, change) = match new.event {
            Event::Died(young, manner) => {
                enough(&litter, on, young, "died").map_err(|refusal| refusal.at("died"))?;
                (on, Change::Died(young, manner))
            }
            Event::Sexed { males, females } => {
                let young = Counts::of(Sex::Unknown, males + females);
                enough(&litter, on, young, "sexed").map_err(|refusal| refusal.at("sexed"))?;
                (on, Change::Sexed { males, females })
            }
            // They were born with the others.
            Event::Found(young) => (litter.born_on, Change::Born(young)),
        };
        litters::insert_change(&mut tx, &permit, litter.id, on, &change, &new.note).await?;
        litters::bump(&mut tx, litter.id).await?;
        let reply = today(&tx, &permit, litter.id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Corrects what was recorded of a litter, with a reason.
///
/// # Errors
/// Refused without the role there; where the site has no such litter or the litter no such change, the change
/// told an animal apart, too few young would be left, a parent does not fit, or the version passed.
pub async fn correct(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    correction: &Correction,
) -> Result<Litter> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    let why = &correction.because;
    retrying("correct_litter", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let litter = locked(&tx, &permit, correction.litter, correction.version).await?;
        match &correction.wrong {
            Wrong::Change(id) => {
                may_be_struck(&litter, *id)?;
                litters::strike_change(&mut tx, *id, why).await?;
            }
            Wrong::Parents(new) => {
                let named = Named::find(&tx, &permit, new, "parents.").await?;
                let birth = born_here(&litter.taxon, litter.born_on, &new.because);
                let parents = named.fit(&tx, &permit, &birth).await?;
                litters::replace_parents(&mut tx, &permit, litter.id, &parents, why).await?;
            }
        }
        litters::bump(&mut tx, litter.id).await?;
        let reply = today(&tx, &permit, litter.id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Refuses to strike out what is not of the litter, what an animal stands for, and what later changes need.
fn may_be_struck(litter: &Litter, id: Uuid) -> std::result::Result<(), Refusal> {
    let refused = |refusal: Refusal| Err(refusal.at("struck_change_id"));
    let Some(struck) = litter.changes.iter().find(|changed| changed.id == id) else {
        return refused(Refusal::not_found("change of the litter's count", &id.to_string()));
    };
    if let Change::ToldApart { animal, .. } = &struck.change {
        return refused(Refusal::new(
            Reason::Malformed,
            format!("{} was identified, and has a record of its own", animal.spoken()),
            "correct the facts of that animal, or merge its record with the right one",
        ));
    }
    let without = litter.without(id);
    match without.first_short() {
        Some((on, left)) => refused(
            Refusal::new(
                Reason::LitterTooFew,
                format!("without it {left} (males.females.unknown) would remain on {on}"),
                "withdraw what was recorded after it first",
            )
            .fact("left", left.to_string())
            .fact("on", on.to_string()),
        ),
        None => Ok(()),
    }
}

/// Takes one young out of a litter as an animal of its own: born with the litter, of its parents, on the
/// books by itself from that day on.
///
/// # Errors
/// Refused without the role there; where the site has no such litter, the day does not fit, no young that
/// can be of that sex is left, or a transponder is in force on another animal.
pub async fn tell_apart(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewYoung,
) -> Result<ToldApart> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    let owner = owner(records, &permit, &new.owner).await?;
    retrying("tell_apart", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let litter = locked(&tx, &permit, new.litter, new.version).await?;
        let on = day_in(&tx, &permit, &litter, new.on, "told_apart_on")?;
        let counted_as = counted_as(&litter, on, new.sex)?;
        let born = Born { first: litter.born_on, last: litter.born_on, estimated: false };
        let parents = parents_of(&litter);
        let first = First { taxon: litter.taxon.id, sex: new.sex, sexed_on: on, born: Some(born), parents };
        let beginning = Beginning {
            how: Began::ToldApart,
            at: permit.site().start_of(on),
            on,
            source: "",
            name: String::new(),
            country: String::new(),
            transfer: None,
        };
        let entry =
            Entry { first, beginning, owner: owner.clone(), marks: &new.marks, enclosure: &new.enclosure };
        let animal = onto_the_books(&mut tx, &permit, entry).await?;
        let change = Change::ToldApart { counted_as, animal: animal.label() };
        litters::insert_change(&mut tx, &permit, litter.id, on, &change, "").await?;
        litters::bump(&mut tx, litter.id).await?;
        let litter = today(&tx, &permit, litter.id).await?;
        Ok(tx.commit(ToldApart { animal, litter }).await?)
    })
    .await
}

/// The parents of a litter as those of one young.
fn parents_of(litter: &Litter) -> Vec<Parent> {
    let because = &litter.parents_because;
    let parent = |animal: &Label, sex, share| {
        let (because, known) = (because.clone(), Known::default());
        Parent { id: animal.id, sex, share, because, known }
    };
    let dam = litter.dam.iter().map(|dam| parent(dam, Sex::Female, 1.0));
    dam.chain(litter.sires.iter().map(|sire| parent(&sire.animal, Sex::Male, sire.share))).collect()
}

/// Under which sex a young is counted that turns out to be of one: that sex, or else unknown.
fn counted_as(litter: &Litter, on: NaiveDate, sex: Sex) -> std::result::Result<Sex, Refusal> {
    let spare = litter.to_spare(on);
    let has = |sex| match sex {
        Sex::Male => spare.males > 0,
        Sex::Female => spare.females > 0,
        Sex::Unknown => spare.unknown > 0,
    };
    match [sex, Sex::Unknown].into_iter().find(|sex| has(*sex)) {
        Some(counted) => Ok(counted),
        None => Err(too_few(litter, on, spare, "identified").at("sex")),
    }
}

/// Refuses to take more young out of a litter than it can spare.
pub(super) fn enough(
    litter: &Litter,
    on: NaiveDate,
    young: Counts,
    what: &str,
) -> std::result::Result<(), Refusal> {
    let spare = litter.to_spare(on);
    let short = young.males > spare.males || young.females > spare.females || young.unknown > spare.unknown;
    if short { Err(too_few(litter, on, spare, what)) } else { Ok(()) }
}

pub(super) fn too_few(litter: &Litter, on: NaiveDate, spare: Counts, what: &str) -> Refusal {
    Refusal::new(
        Reason::LitterTooFew,
        format!(
            "of {}, at most {spare} (males.females.unknown) can be recorded as {what} on {on}: the others \
             died, were identified or are of another sex",
            litter.spoken()
        ),
        "look at the changes of the litter",
    )
    .fact("left", spare.to_string())
    .fact("on", on.to_string())
}

/// The litter of an identifier, locked until the write ends.
pub(super) async fn locked(tx: &Tx, permit: &Permit, id: Uuid, based_on: i64) -> Result<Litter> {
    if !litters::lock(tx, permit, id).await? {
        return Err(Refusal::not_found("litter", &id.to_string()).into());
    }
    let litter = today(tx, permit, id).await?;
    guard_version("litter", based_on, litter.version)?;
    Ok(litter)
}

/// The day of an event: today where none is given, not to come, and not before the birth.
fn day_in(
    tx: &Tx,
    permit: &Permit,
    litter: &Litter,
    on: Option<NaiveDate>,
    field: &str,
) -> std::result::Result<NaiveDate, Refusal> {
    let today = permit.site().day_of(tx.now());
    let on = on.unwrap_or(today);
    if on > today {
        return Err(Refusal::in_the_future("day", field));
    }
    if on < litter.born_on {
        return Err(before_birth(litter, field));
    }
    Ok(on)
}

pub(super) fn before_birth(litter: &Litter, field: &str) -> Refusal {
    Refusal::new(
        Reason::OutOfOrder,
        format!("the litter was not born before {}", litter.born_on),
        "correct the day",
    )
    .at(field)
}

async fn today(tx: &Tx, permit: &Permit, id: Uuid) -> Result<Litter> {
    one(tx, permit, id, lens_of(permit.site(), None, tx.now())).await
}

async fn one(snapshot: &Snapshot, permit: &Permit, id: Uuid, lens: Lens) -> Result<Litter> {
    let wanted = Wanted { id: Some(id), empty: true };
    let page = Page { size: 1, after: None };
    let mut found = litters::list(snapshot, permit, wanted, lens, &page).await?.entries;
    found.pop().ok_or_else(|| Refusal::not_found("litter", &id.to_string()).into())
}

/// One litter as of the close of a day, as was known at an instant, with its crate readings.
///
/// # Errors
/// Refused where there is no such site in scope, or it had no such litter.
pub async fn get(
    records: &Records,
    caller: &Caller,
    site: &str,
    id: Uuid,
    as_of: Option<NaiveDate>,
    known_at: Option<DateTime<Utc>>,
) -> Result<(Litter, Vec<CrateReading>)> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, known_at).await?;
    let litter = one(&snapshot, &permit, id, lens).await?;
    let readings = crate_readings::of(&snapshot, &permit, Of::Litter(id), lens).await?;
    Ok((litter, readings))
}

/// Litters of a site as of the close of a day, as was known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    as_of: Option<NaiveDate>,
    also_empty: bool,
    page: &Page,
    known_at: Option<DateTime<Utc>>,
) -> Result<Slice<Litter>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, known_at).await?;
    let wanted = Wanted { id: None, empty: also_empty };
    Ok(litters::list(&snapshot, &permit, wanted, lens, page).await?)
}
