//! Transfers: a move between two sites, as one record that both share.

mod when;

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::concern::Level;
use crate::model::death::{Body, Death, Manner};
use crate::model::holding::{Began, Ended};
use crate::model::loan;
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::site::Site;
use crate::model::transfer::{NewStep, NewTransfer, Side, State, Step, Terms, Transfer};
use crate::records::animals::{enclosure, off_the_books, refuse_on_the_move};
use crate::records::deaths as deaths_rules;
use crate::records::error::{Refusal, Result};
use crate::records::titles::not_the_owner;
use crate::records::{Records, fresh, guard_version, held_now, loans, view};
use crate::store::holdings::{Beginning, Ending};
use crate::store::titles::Owner;
use crate::store::transfers::{Standing, Taken, Wanted};
use crate::store::{
    Snapshot, Tx, accessions, animals, concerns, deaths, groups, holdings, life_states, placements, retrying,
    titles, transfers,
};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;
use when::{Before, Stamp};

/// Proposes to move an animal to another site.
///
/// # Errors
/// Refused without the role there; where the site does not hold the animal, it is on the move, the
/// destination is the same site or is not on record, or the days do not fit.
pub async fn propose(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewTransfer,
) -> Result<Transfer> {
    let permit = records.permit(caller, Deed::Move, site).await?;
    let to = records.site(&new.to_site).await?;
    if to.id == permit.site().id {
        return Err(Refusal::new(
            Reason::TransferSameSite,
            format!("sender and destination are both {}", to.code),
            "within a site, move it to another enclosure",
        )
        .at("to_site")
        .into());
    }
    retrying("propose_transfer", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let animal = held_now(&tx, &permit, &new.animal).await?;
        refuse_on_the_move(&tx, animal.id, &animal.label().spoken()).await?;
        let held = holdings::of(&tx, &[animal.id]).await?;
        let own = held.iter().rev().find(|one| one.site == permit.site().id && one.ended_at.is_none());
        let what = format!("{} held {}", permit.site().code, animal.label().spoken());
        let since = Before { at: own.map_or(tx.now(), |holding| holding.began_at), what: &what };
        let proposed = when::happened(&tx, permit.site(), new.when, "proposed", &since)?;
        let that_day = permit.site().day_of(proposed.0);
        for (day, field) in [(new.planned_on, "planned_on"), (new.loan_until, "loan_until")] {
            if day.is_some_and(|day| day < that_day) {
                let say = format!("{field} is before {that_day}, the day of the proposal");
                return Err(Refusal::new(Reason::OutOfOrder, say, "give that day or a later one")
                    .at(field)
                    .into());
            }
        }
        // What another owns goes on loan and with the owner's word, or back to its owner.
        if ![&permit.site().code, &to.code].contains(&&animal.owner) {
            if new.terms == Terms::TitlePasses {
                let mend = "choose loan as the terms; or let the owner pass the ownership first";
                return Err(not_the_owner(&permit, &animal, mend).at("terms").into());
            }
            if new.owner_agreed.is_empty() {
                let mend = "ask the owner, and state who agreed and when";
                return Err(not_the_owner(&permit, &animal, mend).at("owner_agreed").into());
            }
        }
        let id = transfers::insert(&mut tx, &animal, permit.site().id, to.id, proposed, new).await?;
        let reply = one(&tx, id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// What a step comes to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stepped {
    pub transfer: Transfer,
    /// For a receipt, the accession that the destination gave.
    pub accession: String,
}

/// Takes a step of a transfer.
///
/// # Errors
/// Refused as not found for a third site; where the step belongs to the other site, the transfer is not
/// in a state for it, is withheld, or the time does not fit.
pub async fn step(records: &Records, caller: &Caller, request: &Request, new: &NewStep) -> Result<Stepped> {
    let deed = match new.step {
        Step::Withheld | Step::Released => Deed::Withhold,
        _ => Deed::Move,
    };
    let reach = caller.reach(deed)?;
    retrying("step_transfer", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        let standing = transfers::lock(&tx, new.transfer)
            .await?
            .ok_or_else(|| Refusal::not_found("transfer", &new.transfer.to_string()))?;
        let sides = Sides::of(records, &standing).await?;
        let permit = sides.permit(caller, deed, new.step)?;
        tx.narrow(&permit).await?;
        guard_version("transfer", new.version, standing.version)?;
        let state = new.step.from(standing.state).ok_or_else(|| wrong_state(new.step, &standing))?;
        refuse_withheld(new.step, &standing, &permit)?;
        if new.step == Step::Dispatched {
            refuse_in_trouble(&tx, &permit, &standing, &new.despite).await?;
        }
        let (at, day_only) = happened(&tx, &sides, &standing, new).await?;
        let accession = match new.step {
            Step::Received => receive(&mut tx, &permit, &sides.from, &standing, new, at).await?,
            Step::Died | Step::Escaped => {
                let how = if new.step == Step::Died { Ended::Death } else { Ended::Escape };
                lose(&mut tx, &sides.from, &standing, how, at, &new.note).await?;
                String::new()
            }
            Step::Dispatched => {
                let then = (false, at, sides.from.day_of(at));
                let spoken = &standing.number;
                deaths_rules::refuse_seen_later(&tx, standing.animal, spoken, then, "dispatched_at").await?;
                String::new()
            }
            _ => String::new(),
        };
        // Last: until then the transfer is dispatched, and that is what lets the receiver end the
        // sender's holding.
        let (site, note) = (permit.site().id, noted(new));
        let taken = Taken { step: new.step, state, site, at, day_only, note: &note, number: &accession };
        transfers::step(&mut tx, &standing, taken).await?;
        let reply = Stepped { transfer: one(&tx, standing.id).await?, accession };
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// The two sites of a transfer.
struct Sides {
    from: Site,
    to: Site,
}

impl Sides {
    async fn of(records: &Records, standing: &Standing) -> Result<Self> {
        let unknown = || Refusal::not_found("transfer", &standing.id.to_string());
        Ok(Self {
            from: records.store.site_of(standing.from).await?.ok_or_else(unknown)?,
            to: records.store.site_of(standing.to).await?.ok_or_else(unknown)?,
        })
    }

    /// Leave for a step, from the site whose step it is.
    fn permit(&self, caller: &Caller, deed: Deed, step: Step) -> Result<Permit> {
        let (from, to) = (&self.from, &self.to);
        match step.side() {
            Side::Sender if !caller.sees(from.id) => Err(other_site(step, from).into()),
            Side::Sender => Ok(caller.may(deed, from)?),
            Side::Destination if !caller.sees(to.id) => Err(other_site(step, to).into()),
            Side::Destination => Ok(caller.may(deed, to)?),
            Side::Either => caller.may(deed, from).or_else(|_| caller.may(deed, to)).map_err(Into::into),
        }
    }
}

fn other_site(step: Step, site: &Site) -> Refusal {
    Refusal::new(
        Reason::TransferOtherSite,
        format!("only {} can record that the transfer is {}", site.code, step.spoken()),
        format!("ask the registrar of {} ({})", site.code, site.name),
    )
    .fact("site_needed", site.code.clone())
}

fn wrong_state(step: Step, standing: &Standing) -> Refusal {
    let mend = match standing.state {
        State::Proposed => "the destination must agree first",
        State::Agreed => "the sender must dispatch it first",
        State::Dispatched => "it can be received, turned back, or recorded as lost on the way",
        _ => "nothing more can be done with it; propose a new one",
    };
    Refusal::new(
        Reason::TransferWrongState,
        format!("it cannot be {}: the transfer is {}", step.spoken(), standing.state.spoken()),
        mend,
    )
    .fact("state", standing.state.name())
}

/// It stands already as the step would leave it.
fn so_already(say: &str, standing: &Standing) -> Refusal {
    Refusal::new(Reason::TransferWrongState, say, "nothing needs to be done")
        .fact("state", standing.state.name())
}

fn refuse_withheld(step: Step, standing: &Standing, permit: &Permit) -> std::result::Result<(), Refusal> {
    match (step, standing.withheld_by) {
        (Step::Dispatched, Some(_)) => Err(Refusal::new(
            Reason::TransferWithheld,
            "a veterinary surgeon withholds the transfer",
            "ask them what is missing; only they can release it",
        )),
        (Step::Withheld, Some(_)) => Err(so_already("the transfer is already withheld", standing)),
        (Step::Released, None) => Err(so_already("the transfer is not withheld", standing)),
        (Step::Released, Some(site)) if site != permit.site().id => Err(Refusal::new(
            Reason::TransferWithheld,
            "the other site's veterinary surgeon withholds the transfer",
            "only they can release it",
        )),
        _ => Ok(()),
    }
}

/// An animal with a concern that calls for a look today leaves with the word of a vet, or with a reason.
async fn refuse_in_trouble(tx: &Tx, permit: &Permit, standing: &Standing, despite: &str) -> Result<()> {
    if !despite.is_empty() {
        return Ok(());
    }
    let (site, animal) = (Some(permit.site().id), Some(standing.animal));
    let wanted = concerns::Wanted { site, animal, ..concerns::Wanted::default() };
    let open = concerns::list(tx, &wanted, tx.now()).await?;
    let grave = open.iter().filter(|one| one.content.level >= Level::Act);
    let Some(worst) = grave.max_by_key(|one| one.content.level) else { return Ok(()) };
    Err(Refusal::new(
        Reason::ConcernOpen,
        format!("the animal has an open concern: {}", worst.content.seen),
        "ask your vet; then state that it may travel, or why it leaves all the same",
    )
    .at("despite_concern")
    .fact("concern", worst.id.to_string())
    .into())
}

/// What is written down with a step.
fn noted(new: &NewStep) -> String {
    match (new.note.as_str(), new.despite.as_str()) {
        (note, "") => note.to_owned(),
        ("", despite) => format!("despite an open concern: {despite}"),
        (note, despite) => format!("{note}; despite an open concern: {despite}"),
    }
}

/// When a step happened, in the time of the site whose step it is.
async fn happened(tx: &Tx, sides: &Sides, standing: &Standing, new: &NewStep) -> Result<Stamp> {
    let before = Before { at: standing.last_at, what: "the step that it follows" };
    let site = match new.step.side() {
        Side::Destination => &sides.to,
        Side::Sender | Side::Either => &sides.from,
    };
    let stamp = when::happened(tx, site, new.when, new.step.field(), &before)?;
    match new.step {
        Step::Dispatched | Step::Received | Step::Died | Step::Escaped => {
            when::after_what_was_seen(tx, site, standing.animal, stamp, new.step == Step::Died).await
        }
        _ => Ok(stamp),
    }
}

/// The holding passes in one instant: the sender's ends as the receiver's begins.
async fn receive(
    tx: &mut Tx,
    permit: &Permit,
    sender: &Site,
    standing: &Standing,
    new: &NewStep,
    at: DateTime<Utc>,
) -> Result<String> {
    let animal = standing.animal;
    let site = permit.site();
    // What the sender saw of it after that would lie where nobody held it, or be lost.
    let then = (false, at, sender.day_of(at));
    deaths_rules::refuse_seen_later(tx, animal, &standing.number, then, "received_at").await?;
    let passes = ownership_passes(tx, permit, sender, standing, at).await?;
    let ending = Ending {
        how: Ended::Transfer,
        at,
        on: sender.day_of(at),
        source: "",
        name: String::new(),
        country: String::new(),
        transfer: Some(standing.id),
    };
    holdings::end(tx, animal, ending).await?;
    placements::end(tx, animal, at).await?;
    groups::end(tx, animal, at, "the animal went to another site").await?;
    life_states::end(tx, animal, at, "the animal went to another site").await?;
    let on = site.day_of(at);
    let beginning = Beginning {
        how: Began::Transfer,
        at,
        on,
        source: "",
        name: String::new(),
        country: String::new(),
        transfer: Some(standing.id),
    };
    holdings::begin(tx, animal, site.id, beginning).await?;
    let accession = accessions::take_in(tx, permit, animal, on).await?;
    let on_loan = (standing.terms == Terms::Loan)
        .then(|| loan::Terms { until: standing.loan_until, text: standing.why.clone() });
    loans::moved(tx, permit, animal, on_loan.as_ref(), (at, on), standing.id).await?;
    if passes {
        titles::end(tx, animal, at).await?;
        titles::begin(tx, animal, site.id, Owner::Site(site.id), at).await?;
    }
    if !new.enclosure.is_empty() {
        let enclosure = enclosure(tx, permit, &new.enclosure).await?;
        placements::begin(tx, permit, &[animal], enclosure, at).await?;
    }
    animals::bump(tx, animal).await?;
    Ok(accession)
}

/// Whether the ownership passes at receipt: by the terms, from the sender, unless the destination owns the animal already.
/// Since it was proposed somebody may have put right who owns it.
async fn ownership_passes(
    tx: &Tx,
    permit: &Permit,
    sender: &Site,
    standing: &Standing,
    at: DateTime<Utc>,
) -> Result<bool> {
    if standing.terms != Terms::TitlePasses {
        return Ok(false);
    }
    match titles::standing(tx, standing.animal).await? {
        Some((Owner::Site(owner), _)) if owner == permit.site().id => Ok(false),
        Some((Owner::Site(owner), since)) if owner == sender.id => {
            if since < at {
                return Ok(true);
            }
            let say = format!("{} owns {} only since {}", sender.code, standing.number, sender.day_of(since));
            let mend = "correct the time, or ask the sender to correct that ownership first";
            Err(Refusal::new(Reason::OutOfOrder, say, mend).at("received_at").into())
        }
        _ => {
            let (accession, house_name) = (standing.number.clone(), String::new());
            let label = Label { id: standing.animal, accession, house_name };
            let animal = view(tx, permit, &label, tx.now()).await?;
            let mend = "ask the sender to cancel the transfer and to propose it again as a loan, with the times at \
                        which it happened";
            Err(not_the_owner(permit, &animal, mend).into())
        }
    }
}

/// The sender answers for an animal on the way, so its loss goes off the sender's books, whoever
/// reports it.
async fn lose(
    tx: &mut Tx,
    sender: &Site,
    standing: &Standing,
    how: Ended,
    at: DateTime<Utc>,
    note: &str,
) -> Result<()> {
    let on = sender.day_of(at);
    // The animal is named by its number at the sender, as both sites know it.
    deaths_rules::refuse_seen_later(
        tx,
        standing.animal,
        &standing.number,
        (how == Ended::Death, at, on),
        "lost_at",
    )
    .await?;
    if how == Ended::Death {
        let death = Death {
            died: Some((on, on)),
            found_on: None,
            manner: Manner::Unknown,
            note: note.to_owned(),
            body: Body::default(),
        };
        deaths::insert(tx, standing.from, standing.animal, (at, on, false), &death).await?;
    }
    let ending = Ending {
        how,
        at,
        on,
        source: "",
        name: String::new(),
        country: String::new(),
        transfer: Some(standing.id),
    };
    let why =
        if how == Ended::Death { "the animal died on the way" } else { "the animal escaped on the way" };
    off_the_books(tx, standing.animal, ending, why).await
}

/// One transfer.
///
/// # Errors
/// Refused as not found for a third site.
pub async fn get(
    records: &Records,
    caller: &Caller,
    id: Uuid,
    known_at: Option<DateTime<Utc>>,
) -> Result<Transfer> {
    let snapshot = records.look(caller, known_at).await?;
    one(&snapshot, id).await
}

/// Transfers from or to a site, or any site in scope.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    open_only: bool,
    page: &Page,
    known_at: Option<DateTime<Utc>>,
) -> Result<Slice<Transfer>> {
    let site =
        if site.is_empty() { None } else { Some(records.permit(caller, Deed::Read, site).await?.site().id) };
    let snapshot = records.look(caller, known_at).await?;
    let wanted = Wanted { site, open_only, ..Wanted::default() };
    let mut transfers = transfers::list(&snapshot, &wanted, page).await?;
    for transfer in &mut transfers.entries {
        transfer.missing = missing(transfer);
    }
    Ok(transfers)
}

async fn one(snapshot: &Snapshot, id: Uuid) -> Result<Transfer> {
    let wanted = Wanted { id: Some(id), ..Wanted::default() };
    let page = Page { size: 1, after: None };
    let mut found = transfers::list(snapshot, &wanted, &page).await?.entries;
    let mut transfer = found.pop().ok_or_else(|| Refusal::not_found("transfer", &id.to_string()))?;
    transfer.missing = missing(&transfer);
    Ok(transfer)
}

/// What a move usually needs on record and this one does not have. Common practice, no source: that a
/// move is planned for a day, that a loan has an end, that the papers and the carrier are noted when the
/// animal leaves and its condition when it arrives.
/// A move that ended on the way, or before it began, needs nothing more.
pub(crate) fn missing(transfer: &Transfer) -> Vec<String> {
    if !transfer.state.is_open() && transfer.state != State::Received {
        return Vec::new();
    }
    let note_of = |wanted: Step| {
        transfer.steps.iter().find(|step| step.step == wanted).map(|step| step.note.trim().is_empty())
    };
    let mut missing = Vec::new();
    if transfer.planned_on.is_none() && matches!(transfer.state, State::Proposed | State::Agreed) {
        missing.push("no day is planned".to_owned());
    }
    if transfer.terms == Terms::Loan && transfer.loan_until.is_none() {
        missing.push("the loan has no end".to_owned());
    }
    if note_of(Step::Dispatched) == Some(true) {
        missing.push("no papers or carrier noted at dispatch".to_owned());
    }
    if note_of(Step::Received) == Some(true) {
        missing.push("no condition noted at receipt".to_owned());
    }
    if transfer.withheld && transfer.state.is_open() {
        missing.push("a veterinary surgeon withholds it".to_owned());
    }
    missing
}
