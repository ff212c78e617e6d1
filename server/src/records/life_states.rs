//! Life states: what animals go through for a while is recorded with who and when, and ends by a person, a
//! birth, or as the animal leaves.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Animal;
use crate::model::life_state::{LifeState, NewState, Over, StateEnd, StateKind};
use crate::model::moment::Moment;
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::lens_of;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, held_now, one_animal};
use crate::store::animals::{self, Parent};
use crate::store::life_states::{self, Beginning, Wanted};
use crate::store::{Snapshot, Tx, holdings, retrying};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Sex;
use uuid::Uuid;

/// Records that an animal is in a state, or that what was suspected is confirmed.
///
/// # Errors
/// Refused without the role there; where the site does not hold the animal, or did not then, it cannot be in
/// that state or is in it already, or the time is in the future.
pub async fn begin(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewState,
) -> Result<LifeState> {
    let permit = records.permit(caller, Deed::Observe, site).await?;
    retrying("begin_life_state", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let animal = held_now(&tx, &permit, &new.animal).await?;
        let at = instant(&tx, &permit, new.since, "began", |day| permit.site().start_of(day))?;
        // What is known by its day alone begins where it does no harm: not before the animal came on that day.
        let at = since_held(&tx, &permit, &animal, new.since, at).await?;
        if new.kind == StateKind::Carrying && animal.sex == Sex::Male {
            let say = format!("{} is male and cannot carry", animal.label().spoken());
            let mend = "check which animal is meant, or correct its sex first";
            return Err(Refusal::new(Reason::ObservationDoesNotFit, say, mend).at("kind").into());
        }
        let open = life_states::open(&tx, &[animal.id]).await?;
        if let Some(open) = open.into_iter().find(|open| open.state == new.kind.as_str()) {
            let confirms = open.suspected && !new.suspected;
            if !confirms {
                let since = permit.site().day_of(open.began_at);
                let say = format!(
                    "{} has been recorded as {} since {since}",
                    animal.label().spoken(),
                    spoken(new.kind)
                );
                return Err(Refusal::new(Reason::Exists, say, "end that first, or correct it")
                    .at("kind")
                    .into());
            }
            if at < open.began_at {
                let say = "it was suspected only after that";
                return Err(Refusal::new(Reason::OutOfOrder, say, "give a later time").at("since").into());
            }
            life_states::close(&mut tx, open, at, StateEnd::Confirmed, "confirmed").await?;
        }
        let new = Beginning { kind: new.kind, suspected: new.suspected, at, note: &new.note };
        let id = life_states::begin(&mut tx, &permit, animal.id, new).await?;
        animals::bump(&mut tx, animal.id).await?;
        let reply = one(&tx, &permit, id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Records that a state is over.
///
/// # Errors
/// Refused without the role there; where the site does not hold the animal, it is in no such state, or the
/// time does not fit.
pub async fn end(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    over: &Over,
) -> Result<LifeState> {
    let permit = records.permit(caller, Deed::Observe, site).await?;
    retrying("end_life_state", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let animal = held_now(&tx, &permit, &over.animal).await?;
        let close = |day| permit.site().close_of(day).min(tx.now());
        let at = instant(&tx, &permit, over.when, "ended", close)?;
        let open = life_states::open(&tx, &[animal.id]).await?;
        let open = open.into_iter().find(|open| open.state == over.kind.as_str()).ok_or_else(|| {
            let say = format!("{} is not recorded as {}", animal.label().spoken(), spoken(over.kind));
            Refusal::new(Reason::NotFound, say, "look at its states again").fact("what", "state").at("kind")
        })?;
        let began = permit.site().day_of(open.began_at);
        let ended = life_states::close(&mut tx, open, at, StateEnd::Over, &over.because).await?;
        let id = ended.ok_or_else(|| {
            let say = format!("it began on {began} and cannot end before that");
            Refusal::new(Reason::OutOfOrder, say, "give a later time, or withdraw it if it never was")
                .at("when")
        })?;
        animals::bump(&mut tx, animal.id).await?;
        let reply = one(&tx, &permit, id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// What is asked of the states of a site.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    pub site: String,
    /// Reference to one animal; empty for all.
    pub animal: String,
    pub as_of: Option<NaiveDate>,
    pub also_ended: bool,
    pub known_at: Option<DateTime<Utc>>,
}

/// States, newest beginning first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such animal.
pub async fn list(
    records: &Records,
    caller: &Caller,
    asked: &Asked,
    page: &Page,
) -> Result<Slice<LifeState>> {
    let permit = records.permit(caller, Deed::Read, &asked.site).await?;
    let lens = lens_of(permit.site(), asked.as_of, records.store.now());
    let snapshot = records.look(caller, asked.known_at).await?;
    let animal = if asked.animal.is_empty() {
        None
    } else {
        Some(one_animal(&snapshot, Some(&permit), &asked.animal, lens.at).await?.id)
    };
    let wanted = Wanted { animal, id: None, at: Some(lens.at).filter(|_| !asked.also_ended) };
    Ok(life_states::list(&snapshot, &permit, wanted, page).await?)
}

async fn one(snapshot: &Snapshot, permit: &Permit, id: Uuid) -> Result<LifeState> {
    let wanted = Wanted { id: Some(id), ..Wanted::default() };
    let mut found =
        life_states::list(snapshot, permit, wanted, &Page { size: 1, after: None }).await?.entries;
    found.pop().ok_or_else(|| Refusal::not_found("state", &id.to_string()).into())
}

fn instant(
    tx: &Tx,
    permit: &Permit,
    when: Option<Moment>,
    what: &str,
    of_day: impl Fn(NaiveDate) -> DateTime<Utc>,
) -> std::result::Result<DateTime<Utc>, Refusal> {
    match when {
        None => Ok(tx.now()),
        Some(Moment::At(at)) if at > tx.now() => Err(Refusal::in_the_future("time", &format!("{what}_at"))),
        Some(Moment::At(at)) => Ok(at),
        Some(Moment::On(day)) if day > permit.site().day_of(tx.now()) => {
            Err(Refusal::in_the_future("day", &format!("{what}_on")))
        }
        Some(Moment::On(day)) => Ok(of_day(day)),
    }
}

/// The instant at which a state begins, which the site holds the animal from: of a day alone, the part of it
/// in which it does.
async fn since_held(
    tx: &Tx,
    permit: &Permit,
    animal: &Animal,
    since: Option<Moment>,
    at: DateTime<Utc>,
) -> Result<DateTime<Utc>> {
    let held = holdings::of(tx, &[animal.id]).await?;
    let holding =
        held.iter().rev().find(|holding| holding.site == permit.site().id && holding.covers(tx.now()));
    let began = holding.map_or(at, |holding| holding.began_at);
    if at >= began {
        return Ok(at);
    }
    match since {
        Some(Moment::On(day)) if day == permit.site().day_of(began) => Ok(began),
        _ => {
            let day = permit.site().day_of(began);
            let say = format!("{} has been held only since {day}", animal.label().spoken());
            let field = if matches!(since, Some(Moment::On(_))) { "began_on" } else { "began_at" };
            let mend = "give that day or a later one, and put the rest into the note".to_owned();
            Err(Refusal::new(Reason::AnimalNotHeldThen, say, &mend).at(field).into())
        }
    }
}

const fn spoken(kind: StateKind) -> &'static str {
    match kind {
        StateKind::Carrying => "carrying",
        StateKind::Moult => "in moult",
        StateKind::Rut => "in rut",
        StateKind::Torpor => "in torpor",
        StateKind::Rest => "resting",
    }
}

/// A birth on a day ends that its dam carries, where the site holds her: at the end of that day, for she
/// carried by then.
pub(super) async fn bears(tx: &mut Tx, permit: &Permit, parents: &[Parent], on: NaiveDate) -> Result<()> {
    let dams: Vec<Uuid> =
        parents.iter().filter(|parent| parent.sex == Sex::Female).map(|dam| dam.id).collect();
    let at = permit.site().close_of(on).min(tx.now());
    for open in life_states::open(tx, &dams).await? {
        let own = open.site_id == permit.site().id && open.state == StateKind::Carrying.as_str();
        if own && open.began_at < at {
            let dam = open.animal_id;
            life_states::close(tx, open, at, StateEnd::Birth, "gave birth").await?;
            animals::bump(tx, dam).await?;
        }
    }
    Ok(())
}
