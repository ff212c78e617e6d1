//! Animals: how they come onto the books, what is learnt of them, how they leave.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Coming, Destination, Filter, Label, Leaving, NewAnimal};
use crate::model::holding::{Began, Ended, When};
use crate::model::loan::Terms;
use crate::model::mark::{MarkKind, NewMark};
use crate::model::page::{Page, Slice};
use crate::model::paper::Occasion;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::site::Site;
use crate::model::transfer::{State, Step};
use crate::records::deaths::{refuse_odd_days, refuse_seen_later, seen_later};
use crate::records::error::{Refusal, Result, Violation};
use crate::records::parents::{self, Birth};
use crate::records::{
    Records, fresh, guard_version, held_now, life_states, loans, one_animal, papers, taxa,
    titles as title_rules, view,
};
use crate::store::animals::{self, First, Lens};
use crate::store::holdings::{self, Beginning, Ending};
use crate::store::titles::{self, Owner};
use crate::store::transfers::{self, Taken};
use crate::store::{Snapshot, Tx, accessions, deaths, groups, marks, placements, retrying, sites};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use holt_audit::terms::Sex;
use holt_audit::zone;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// An animal that came into the stock or went off them, and the papers that are missing.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Booked {
    pub animal: Animal,
    pub missing: Vec<String>,
}

/// Registers an animal that was born at a site or came to it from outside.
///
/// # Errors
/// Refused without the role there; where the species or the enclosure is not on record, the day is in the
/// future, a parent does not fit, or a transponder is in force on another animal.
pub async fn register(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewAnimal,
) -> Result<Booked> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    let owner = owner(records, &permit, &new.owner).await?;
    retrying("register_animal", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let came = Came::of(permit.site(), &new.coming, tx.now())?;
        let taxon = taxa::one(&tx, &new.taxon).await?;
        let born = new.born.map(|born| (born.first, born.last));
        if let Some((first, _)) = born.filter(|(first, _)| *first > came.on) {
            return Err(Refusal::new(
                Reason::OutOfOrder,
                format!("it cannot arrive on {} and be born on {first} or later", came.on),
                "correct one of the two days",
            )
            .at("born_on")
            .into());
        }
        let birth = Birth {
            taxon: &taxon,
            days: born,
            here: matches!(new.coming, Coming::Birth { .. }),
            because: &new.parents_because,
        };
        let mut parents = Vec::new();
        for (text, sex, field) in [(&new.dam, Sex::Female, "dam"), (&new.sire, Sex::Male, "sire")] {
            if let Some(parent) = parents::find(&tx, &permit, text, field).await? {
                parents.push(parents::fit(&tx, &permit, &parent, sex, &birth, field).await?);
            }
        }
        if birth.here {
            life_states::bears(&mut tx, &permit, &parents, came.on).await?;
        }
        let first = First { taxon: taxon.id, sex: new.sex, sexed_on: came.on, born: new.born, parents };
        let (how, source, name, country) = match &new.coming {
            Coming::Birth { .. } => (Began::Birth, "", String::new(), String::new()),
            Coming::Arrival { source, from, country, .. } => {
                (Began::Arrival, source.as_str(), from.clone(), country.clone())
            }
        };
        let beginning = Beginning { how, at: came.at, on: came.on, source, name, country, transfer: None };
        let (owner, when) = (owner.clone(), (came.at, came.on));
        let parties = (owner.clone(), Owner::Site(permit.site().id));
        let entry = Entry { first, beginning, owner, marks: &new.marks, enclosure: &new.enclosure };
        let mut animal = onto_the_books(&mut tx, &permit, entry).await?;
        animal.taxon = animal.taxon.asked_as(&new.taxon);
        if let Some(terms) = &new.loan {
            refuse_own(&parties)?;
            loans::begin(&mut tx, &permit, animal.id, parties, when, terms, None).await?;
        }
        let missing = papers::accompany(&mut tx, &permit, &animal, Occasion::Arrival, &new.papers).await?;
        Ok(tx.commit(Booked { animal, missing }).await?)
    })
    .await
}

/// Refuses an animal that would be on loan from the site to itself.
fn refuse_own((lender, borrower): &(Owner, Owner)) -> std::result::Result<(), Refusal> {
    if lender != borrower {
        return Ok(());
    }
    Err(Refusal::malformed(vec![Violation {
        field: "owner".to_owned(),
        say: "an animal on loan has another owner than the site".to_owned(),
        mend: "name the owner who lends it".to_owned(),
    }]))
}

/// Who owns an animal that comes onto the books, as it is written: the code of a site, a name outside Holt,
/// or nothing for the site of the permit.
pub(super) async fn owner(records: &Records, permit: &Permit, text: &str) -> Result<Owner> {
    if text.is_empty() {
        return Ok(Owner::Site(permit.site().id));
    }
    let site = records.store.site(text).await?;
    Ok(site.map_or_else(|| Owner::Outside(text.to_owned()), |site| Owner::Site(site.id)))
}

/// An animal that comes onto the books of its first site.
pub(super) struct Entry<'a> {
    pub(super) first: First,
    pub(super) beginning: Beginning,
    pub(super) owner: Owner,
    pub(super) marks: &'a [NewMark],
    /// Name of the enclosure that it lives in; empty where none.
    pub(super) enclosure: &'a str,
}

/// Puts an animal on the books with all that it has from its first day there on.
pub(super) async fn onto_the_books(tx: &mut Tx, permit: &Permit, entry: Entry<'_>) -> Result<Animal> {
    let (at, on) = (entry.beginning.at, entry.beginning.on);
    let animal = animals::insert(tx, permit, &entry.first).await?;
    holdings::begin(tx, animal, permit.site().id, entry.beginning).await?;
    let accession = accessions::take_in(tx, permit, animal, on).await?;
    titles::begin(tx, animal, permit.site().id, entry.owner, at).await?;
    refuse_marks_in_use(tx, permit, animal, entry.marks, at).await?;
    marks::apply(tx, permit, animal, entry.marks, at).await?;
    if !entry.enclosure.is_empty() {
        let enclosure = enclosure(tx, permit, entry.enclosure).await?;
        placements::begin(tx, permit, &[animal], enclosure, at).await?;
    }
    let label = Label { id: animal, accession, house_name: String::new() };
    view(tx, permit, &label, tx.now()).await
}

/// Last instant of a day where no site says whose day it is.
fn close_of_utc(day: NaiveDate) -> DateTime<Utc> {
    let next = day.succ_opt().map(|next| zone::start_of_day(Tz::UTC, next));
    next.map_or(DateTime::<Utc>::MAX_UTC, |next| next - TimeDelta::microseconds(1))
}

/// When an animal came into the stock.
struct Came {
    on: NaiveDate,
    at: DateTime<Utc>,
}

impl Came {
    fn of(site: &Site, coming: &Coming, now: DateTime<Utc>) -> std::result::Result<Self, Refusal> {
        let (on, at, what, field) = match coming {
            Coming::Birth { day } => (*day, None, "day of birth", "born_on"),
            Coming::Arrival { when: When { day, at: None }, .. } => {
                (*day, None, "day of arrival", "arrived_on")
            }
            Coming::Arrival { when: When { day, at }, .. } => (*day, *at, "time of arrival", "arrived_at"),
        };
        let at = at.unwrap_or_else(|| site.start_of(on));
        if at > now {
            return Err(Refusal::in_the_future(what, field));
        }
        on_its_day(site, on, at, field)?;
        Ok(Self { on, at })
    }
}

/// Refuses an instant that is not on the day it is given for.
pub(super) fn on_its_day(
    site: &Site,
    on: NaiveDate,
    at: DateTime<Utc>,
    field: &str,
) -> std::result::Result<(), Refusal> {
    if site.day_of(at) == on {
        return Ok(());
    }
    Err(Refusal::new(
        Reason::Malformed,
        format!("the instant {at} is not on {on} in the zone {} of {}", site.zone, site.code),
        "give the instant alone, or the day alone",
    )
    .at(field))
}

pub(super) async fn enclosure(snapshot: &Snapshot, permit: &Permit, name: &str) -> Result<Uuid> {
    sites::enclosure(snapshot, permit, name)
        .await?
        .map(|enclosure| enclosure.id)
        .ok_or_else(|| Refusal::not_found("enclosure", name).into())
}

/// Refuses a transponder that is in force, and says on which other animal where the caller may see it.
/// Where they may not, the constraint refuses it and says nothing more.
pub(super) async fn refuse_marks_in_use(
    tx: &Tx,
    permit: &Permit,
    animal: Uuid,
    new: &[NewMark],
    at: DateTime<Utc>,
) -> Result<()> {
    for mark in new.iter().filter(|mark| mark.kind == MarkKind::Transponder) {
        let Some(bearer) = marks::bearer(tx, &mark.code, at).await? else { continue };
        if bearer == animal {
            return Err(Refusal::new(
                Reason::Exists,
                format!("transponder {} is already recorded for this animal", mark.code),
                "nothing needs to be done",
            )
            .at("mark")
            .into());
        }
        let lens = Lens { site: Some(permit.site().id), at: tx.now(), day: permit.site().day_of(tx.now()) };
        let spoken = animals::views(tx, &[bearer], lens).await?.first().map(|one| one.label().spoken());
        let spoken = spoken.unwrap_or_else(|| "another animal".to_owned());
        return Err(Refusal::new(
            Reason::TransponderInUse,
            format!("transponder {} is in force on {spoken}", mark.code),
            "scan it again; if it is right, end the mark on the other animal first",
        )
        .fact("animal", spoken)
        .at("mark")
        .into());
    }
    Ok(())
}

/// Records a sex from a day on.
///
/// # Errors
/// Refused without the role there, where the site does not hold the animal, or for a day to come.
pub async fn record_sex(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    animal: &str,
    sex: Sex,
    on: Option<NaiveDate>,
) -> Result<Animal> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("record_sex", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let found = held_now(&tx, &permit, animal).await?;
        let today = permit.site().day_of(tx.now());
        let on = on.unwrap_or(today);
        if on > today {
            return Err(Refusal::in_the_future("day of determination", "determined_on").into());
        }
        animals::insert_sex(&mut tx, &permit, found.id, sex, on).await?;
        animals::bump(&mut tx, found.id).await?;
        let reply = view(&tx, &permit, &found.label(), tx.now()).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// How an animal leaves the books of a site, with the instant and the guard against a stale view.
#[derive(Clone, Debug)]
pub struct Left {
    pub animal: String,
    pub when: When,
    pub how: Leaving,
    pub version: i64,
}

impl Left {
    /// The field that says when: the instant where it is known, else the day.
    fn time_field(&self) -> &'static str {
        match (&self.how, self.when.at) {
            (Leaving::Death(_), Some(_)) => "died_at",
            (Leaving::Death(death), None) if death.day().is_none() => "found_on",
            (Leaving::Death(_), None) => "died_on",
            (Leaving::Departure { .. }, Some(_)) => "departed_at",
            (Leaving::Departure { .. }, None) => "departed_on",
        }
    }

    /// The instant of the end: as given, or the last of its day; now, if that day is today.
    fn at(&self, site: &Site, now: DateTime<Utc>) -> std::result::Result<DateTime<Utc>, Refusal> {
        let (day, field) = (self.when.day, self.time_field());
        match self.when.at {
            Some(at) if at > now => Err(Refusal::in_the_future("time", field)),
            Some(at) => on_its_day(site, day, at, field).map(|()| at),
            None if day > site.day_of(now) => Err(Refusal::in_the_future("day", field)),
            None => Ok(site.close_of(day).min(now)),
        }
    }
}

/// Records a death, or a departure to somewhere outside Holt.
///
/// # Errors
/// Refused without the role there; where the site does not hold the animal, it is on the move, the time
/// is in the future, or something later is on record.
pub async fn leave(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    left: &Left,
) -> Result<Booked> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("leave", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let booked = take_off(&mut tx, &permit, left).await?;
        Ok(tx.commit(booked).await?)
    })
    .await
}

/// Takes an animal off the books of the site that holds it.
pub(super) async fn take_off(tx: &mut Tx, permit: &Permit, left: &Left) -> Result<Booked> {
    let animal = held_now(tx, permit, &left.animal).await?;
    guard_version("animal", left.version, animal.version)?;
    let at = left.at(permit.site(), tx.now())?;
    let dies = matches!(left.how, Leaving::Death(_));
    refuse_earlier_than_known(tx, &animal, (dies, at, left.when.day), left.time_field()).await?;
    end_transfer(tx, permit, &animal, left, at).await?;
    if let Leaving::Departure { destination, name, .. } = &left.how {
        refuse_to_give_away(permit, &animal, *destination, name)?;
    }
    let spoken = animal.label();
    let (how, source, name, country, why) = match &left.how {
        Leaving::Death(death) => {
            refuse_odd_days(death, animal.held_since, permit.site().day_of(tx.now()))?;
            let when = (at, left.when.day, left.when.at.is_none());
            deaths::insert(tx, permit.site().id, animal.id, when, death).await?;
            (Ended::Death, "", String::new(), String::new(), "the animal died")
        }
        Leaving::Departure { destination: Destination::Escape, name, country, .. } => {
            (Ended::Escape, "escape", name.clone(), country.clone(), "the animal escaped")
        }
        Leaving::Departure { destination, name, country, .. } => {
            (Ended::Departure, destination.as_str(), name.clone(), country.clone(), "the animal departed")
        }
    };
    let ending = Ending { how, at, on: left.when.day, source, name, country, transfer: None };
    off_the_books(tx, animal.id, ending, why).await?;
    if let Leaving::Departure { destination, name, loan, .. } = &left.how {
        let when = (at, left.when.day);
        keep_or_end_title(tx, permit, &animal, *destination, name, loan.as_ref(), when).await?;
    }
    let animal = view(tx, permit, &spoken, tx.now()).await?;
    let missing = match &left.how {
        Leaving::Death(_) => Vec::new(),
        Leaving::Departure { papers, .. } => {
            papers::accompany(tx, permit, &animal, Occasion::Departure, papers).await?
        }
    };
    Ok(Booked { animal, missing })
}

/// Refuses that a site gives away what another owns: it goes back to the owner, or where the owner passes it to.
fn refuse_to_give_away(
    permit: &Permit,
    animal: &Animal,
    destination: Destination,
    to: &str,
) -> std::result::Result<(), Refusal> {
    let own = animal.owner.is_empty() || animal.owner == permit.site().code;
    let back = animal.owner.trim().to_lowercase() == to.trim().to_lowercase();
    if own || back || destination == Destination::Escape {
        return Ok(());
    }
    let mend = "record its return to the owner; or let the owner pass the ownership to where it goes";
    Err(title_rules::not_the_owner(permit, animal, mend).at("destination_name"))
}

/// An animal that leaves on loan stays its owner's; one that leaves otherwise is the site's no more, unless it
/// escaped.
async fn keep_or_end_title(
    tx: &mut Tx,
    permit: &Permit,
    animal: &Animal,
    destination: Destination,
    to: &str,
    loan: Option<&Terms>,
    when: (DateTime<Utc>, NaiveDate),
) -> Result<()> {
    let own = animal.owner == permit.site().code;
    match loan {
        Some(_) if !own => {
            Err(title_rules::not_the_owner(permit, animal, "record the return of the loan instead").into())
        }
        Some(terms) => {
            let parties = (Owner::Site(permit.site().id), Owner::Outside(to.to_owned()));
            loans::begin(tx, permit, animal.id, parties, when, terms, None).await
        }
        None if own && destination != Destination::Escape => Ok(titles::end(tx, animal.id, when.0).await?),
        None => Ok(()),
    }
}

/// Ends what ends when an animal goes off the books for good: holding, placement, membership of a group, and
/// with its death its marks and title.
pub(super) async fn off_the_books(tx: &mut Tx, animal: Uuid, ending: Ending, why: &str) -> Result<()> {
    let (at, on, how) = (ending.at, ending.on, ending.how);
    // First what other sites may have recorded: it is the holder's to end.
    match how {
        Ended::Death => end_with_its_life(tx, animal, (at, on), why).await?,
        _ => loans::ended(tx, animal, how, (at, on), why).await?,
    }
    holdings::end(tx, animal, ending).await?;
    placements::end(tx, animal, at).await?;
    groups::end(tx, animal, at, why).await?;
    crate::store::life_states::end(tx, animal, at, why).await?;
    animals::bump(tx, animal).await?;
    Ok(())
}

/// Ends what an animal has while it lives, wherever it is: the loan that it is on, its marks and its title.
pub(super) async fn end_with_its_life(
    tx: &mut Tx,
    animal: Uuid,
    (at, on): (DateTime<Utc>, NaiveDate),
    why: &str,
) -> Result<()> {
    loans::ended(tx, animal, Ended::Death, (at, on), why).await?;
    marks::end(tx, animal, None, at, why).await?;
    Ok(titles::end(tx, animal, at).await?)
}

/// Refuses an end before something that is on record: one of the two days is wrong.
async fn refuse_earlier_than_known(
    tx: &Tx,
    animal: &Animal,
    (dies, at, on): (bool, DateTime<Utc>, NaiveDate),
    field: &str,
) -> Result<()> {
    let spoken = animal.label().spoken();
    let held = holdings::of(tx, &[animal.id]).await?;
    if let Some(holding) =
        held.iter().rev().find(|holding| holding.ended_at.is_none() && holding.began_at >= at)
    {
        return Err(seen_later(&spoken, "came into the stock", holding.began_at).at(field).into());
    }
    refuse_seen_later(tx, animal.id, &spoken, (dies, at, on), field).await
}

/// A death calls off a transfer that has not begun; on the way, the loss is a step of the transfer. Any
/// other leaving of an animal on the move is refused.
async fn end_transfer(
    tx: &mut Tx,
    permit: &Permit,
    animal: &Animal,
    left: &Left,
    at: DateTime<Utc>,
) -> Result<()> {
    let Some((id, state, _)) = transfers::open_of(tx, animal.id).await? else { return Ok(()) };
    let died = matches!(left.how, Leaving::Death(_));
    if !died || state == State::Dispatched {
        return Err(on_the_move(&animal.label().spoken(), id, state).into());
    }
    let Some(standing) = transfers::lock(tx, id).await? else { return Ok(()) };
    let taken = Taken {
        step: Step::Cancelled,
        state: State::Cancelled,
        site: permit.site().id,
        // It was found out later than it died that the move comes to nothing.
        at: at.max(standing.last_at),
        day_only: left.when.at.is_none(),
        note: "the animal died",
        number: "",
    };
    Ok(transfers::step(tx, &standing, taken).await?)
}

/// Refuses what takes an animal off the books while a transfer of it is open.
pub(super) async fn refuse_on_the_move(tx: &Tx, animal: Uuid, spoken: &str) -> Result<()> {
    match transfers::open_of(tx, animal).await? {
        Some((id, state, _)) => Err(on_the_move(spoken, id, state).into()),
        None => Ok(()),
    }
}

pub(super) fn on_the_move(spoken: &str, transfer: Uuid, state: State) -> Refusal {
    let mend = if state == State::Dispatched {
        "receive it, turn it back, or record its loss on the way"
    } else {
        "finish, refuse or cancel that transfer first"
    };
    Refusal::new(
        Reason::AnimalOnTheMove,
        format!("{spoken} is on a transfer that is {}", state.spoken()),
        mend,
    )
    .fact("transfer_id", transfer.to_string())
    .fact("state", state.name())
}

/// One animal, in the terms of a site or, where none is given, of whoever holds it.
///
/// # Errors
/// Refused where nothing goes by that reference, or more than one animal does.
pub async fn get(
    records: &Records,
    caller: &Caller,
    site: &str,
    text: &str,
    as_of: Option<NaiveDate>,
    known_at: Option<DateTime<Utc>>,
) -> Result<Animal> {
    let permit = if site.is_empty() { None } else { Some(records.permit(caller, Deed::Read, site).await?) };
    caller.reach(Deed::Read)?;
    let now = records.store.now();
    let snapshot = records.look(caller, known_at).await?;
    let label = one_animal(&snapshot, permit.as_ref(), text, now).await?;
    let lens = match (&permit, as_of) {
        (Some(permit), as_of) => lens_of(permit.site(), as_of, now),
        (None, None) => Lens { site: None, at: now, day: now.date_naive() },
        (None, Some(day)) => Lens { site: None, at: close_of_utc(day).min(now), day },
    };
    let mut views = animals::views(&snapshot, &[label.id], lens).await?;
    views.pop().ok_or_else(|| Refusal::not_found("animal", text).into())
}

/// Animals that a site holds at the close of a day, as was known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    as_of: Option<NaiveDate>,
    filter: &Filter,
    page: &Page,
    known_at: Option<DateTime<Utc>>,
) -> Result<Slice<Animal>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, known_at).await?;
    let ids = animals::held(&snapshot, &permit, lens, filter, page).await?;
    let wanted: Vec<Uuid> = ids.entries.iter().map(|(id, _)| *id).collect();
    let mut animals = animals::views(&snapshot, &wanted, lens).await?;
    for animal in &mut animals {
        animal.taxon = std::mem::take(&mut animal.taxon).asked_as(&filter.taxon);
    }
    Ok(Slice { entries: animals, next: ids.next })
}

/// The close of a day at a site; now, if that day is today or none is given.
pub(crate) fn lens_of(site: &Site, as_of: Option<NaiveDate>, now: DateTime<Utc>) -> Lens {
    let today = site.day_of(now);
    let day = as_of.unwrap_or(today);
    let at = if day == today { now } else { site.close_of(day) };
    Lens { site: Some(site.id), at, day }
}
