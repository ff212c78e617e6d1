//! Amendments: what a site that held or owned an animal proposes, and its holder accepts or declines.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::amendment::{Amendment, Kind, New, Outcome};
use crate::model::animal::{Animal, Leaving};
use crate::model::death::Death;
use crate::model::holding::When;
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::{Left, lens_of, take_off};
use crate::records::corrections::{self, Change};
use crate::records::error::{Refusal, Result};
use crate::records::holder;
use crate::records::{Records, fresh, history, one_animal, view};
use crate::store::amendments::{self, Standing, Wanted};
use crate::store::animals::{self, Lock};
use crate::store::{Snapshot, Tx, retrying};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The very change that is asked for.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Asked {
    Correction(Uuid, Box<Change>),
    Withdrawal(Uuid),
    Death(When, Box<Death>),
}

impl Asked {
    const fn kind(&self) -> Kind {
        match self {
            Self::Correction(..) => Kind::Correction,
            Self::Withdrawal(_) => Kind::Withdrawal,
            Self::Death(..) => Kind::Death,
        }
    }

    const fn fact(&self) -> Option<Uuid> {
        match self {
            Self::Correction(fact, _) | Self::Withdrawal(fact) => Some(*fact),
            Self::Death(..) => None,
        }
    }
}

/// A change to propose.
#[derive(Clone, Debug)]
pub struct Proposal {
    pub animal: String,
    pub asked: Asked,
    pub because: String,
}

/// Proposes a change to the holder of an animal.
///
/// # Errors
/// Refused without the role there; where the site never held nor owned the animal, or holds it; where there is no
/// such fact, or it is not of the animal's life.
pub async fn propose(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &Proposal,
) -> Result<Amendment> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("propose_amendment", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_animal(&tx, Some(&permit), &new.animal, tx.now(), Lock::Share).await?;
        let animal = view(&tx, &permit, &label, tx.now()).await?;
        let (spoken, code) = (label.spoken(), &permit.site().code);
        if holder::decides(&tx, &permit, animal.id).await? {
            let say = format!("{code} itself answers for {spoken}");
            return Err(wrong_state(say, "record or correct it directly").at("animal").into());
        }
        if !amendments::knew(&tx, &permit, animal.id).await? {
            let say = format!("{code} never held or owned {spoken}");
            let mend = "let a site propose it that did, or tell the site that holds it";
            return Err(held_elsewhere(animal.id, say, mend).at("animal").into());
        }
        let mut asked = new.asked.clone();
        let says = match &mut asked {
            Asked::Death(when, death) => said_of_death(&tx, &permit, &animal, *when, death)?,
            Asked::Correction(fact, change) => {
                let said = fact_of_its_life(&tx, caller, &animal, *fact, Some(change)).await?;
                name_parent(&tx, &permit, change).await?;
                format!("correct: {said}; instead: {}", change.spoken())
            }
            Asked::Withdrawal(fact) => {
                format!("withdraw: {}", fact_of_its_life(&tx, caller, &animal, *fact, None).await?)
            }
        };
        let change = serde_json::to_value(&asked).map_err(crate::store::Error::from)?;
        let (kind, fact, because) = (asked.kind(), asked.fact(), new.because.clone());
        let new = New { animal: animal.id, kind, fact, change, says, because };
        let id = amendments::insert(&mut tx, &permit, new).await?;
        let reply = one(&tx, &permit, id).await?.amendment;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// What a fact says, where a change of it can be proposed.
async fn fact_of_its_life(
    tx: &Tx,
    caller: &Caller,
    animal: &Animal,
    id: Uuid,
    change: Option<&Change>,
) -> Result<String> {
    let fact = corrections::standing_fact(tx, animal, id).await?;
    let kind = fact.kind;
    if !holder::is_of_its_life(kind) {
        let say = format!("the {} is of the books of the site that recorded it", kind.spoken());
        return Err(wrong_state(say, "let that site correct it directly").at("fact_id").into());
    }
    if let Some(change) = change {
        change.fits(kind)?;
    }
    let told = history::these(tx, caller, &[animal.id], &[id]).await?;
    Ok(told.first().map_or_else(|| kind.spoken().to_owned(), |told| told.say.clone()))
}

/// Names the parent that is meant by its identifier: the holder may know another animal by the same name.
async fn name_parent(tx: &Tx, permit: &Permit, change: &mut Change) -> Result<()> {
    if let Some(text) = &change.parent {
        change.parent = Some(one_animal(tx, Some(permit), text, tx.now(), Lock::None).await?.id.to_string());
    }
    Ok(())
}

fn said_of_death(
    tx: &Tx,
    permit: &Permit,
    animal: &Animal,
    when: When,
    death: &Death,
) -> std::result::Result<String, Refusal> {
    crate::records::deaths::refuse_odd_days(death, animal.held_since, permit.site().day_of(tx.now()))?;
    let how = death.manner.as_str().replace('_', " ");
    let note = if death.note.is_empty() { String::new() } else { format!(": {}", death.note) };
    Ok(format!("record its death, {how}, on {}{note}", when.day))
}

/// An answer to give.
#[derive(Clone, Debug)]
pub struct Reply {
    pub amendment: Uuid,
    pub outcome: Outcome,
    /// Why, or a remark.
    pub note: String,
}

/// Answers an amendment. One that is accepted is made by the same write, as its holder's own, and says who proposed it.
///
/// # Errors
/// Refused without the role there; where there is no such amendment for the site, it is answered, or the site is not the
/// one whose answer it is; and where the change itself is refused.
pub async fn answer(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    reply: &Reply,
) -> Result<Amendment> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("answer_amendment", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let standing = one(&tx, &permit, reply.amendment).await?;
        let amendment = &standing.amendment;
        let animal = amendment.animal.id.to_string();
        let label = one_animal(&tx, Some(&permit), &animal, tx.now(), Lock::Change).await?;
        if let Some(answer) = &amendment.answer {
            let say = format!("{} is {} already", amendment.says, answer.outcome.spoken());
            return Err(wrong_state(say, "propose it again if that was wrong")
                .fact("state", answer.outcome.spoken())
                .into());
        }
        refuse_answer(&tx, &permit, &standing, reply.outcome).await?;
        amendments::answer(&mut tx, &permit, &standing, reply.outcome, &reply.note).await?;
        if reply.outcome == Outcome::Accepted {
            let animal = view(&tx, &permit, &label, tx.now()).await?;
            make(records, caller, &mut tx, &permit, &animal, &standing).await?;
        }
        let reply = one(&tx, &permit, amendment.id).await?.amendment;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// The holder accepts and declines; the site that proposed it takes it back.
async fn refuse_answer(tx: &Tx, permit: &Permit, standing: &Standing, outcome: Outcome) -> Result<()> {
    let own = standing.proposer == permit.site().id;
    let animal = standing.amendment.animal.id;
    if outcome == Outcome::Withdrawn {
        let by = &standing.amendment.site;
        let say = format!("{by} proposed it, and alone withdraws it");
        return if own { Ok(()) } else { Err(held_elsewhere(animal, say, "accept or decline it").into()) };
    }
    if holder::decides(tx, permit, animal).await? {
        return Ok(());
    }
    let say = format!("{} does not hold {}", permit.site().code, standing.amendment.animal.spoken());
    let mend = if own { "wait for the site that holds it, or withdraw it" } else { "leave it to the holder" };
    Err(held_elsewhere(animal, say, mend).into())
}

/// Makes the change that was proposed.
async fn make(
    records: &Records,
    caller: &Caller,
    tx: &mut Tx,
    permit: &Permit,
    animal: &Animal,
    standing: &Standing,
) -> Result<()> {
    let amendment = &standing.amendment;
    let asked: Asked = serde_json::from_value(amendment.change.clone()).map_err(crate::store::Error::from)?;
    let by = format!("proposed by {}", amendment.site);
    let because = format!("{} ({by})", amendment.because);
    let why = corrections::Why { because, consents: records.store.site_of(standing.proposer).await? };
    match asked {
        Asked::Correction(fact, change) => {
            corrections::make(records, caller, tx, permit, animal, (fact, Some(&change)), &why).await?;
        }
        Asked::Withdrawal(fact) => {
            corrections::make(records, caller, tx, permit, animal, (fact, None), &why).await?;
        }
        Asked::Death(when, mut death) => {
            death.note = if death.note.is_empty() { by } else { format!("{} ({by})", death.note) };
            let how = Leaving::Death(death);
            let left = Left { animal: animal.id.to_string(), when, how, version: 0 };
            take_off(tx, permit, &left).await?;
        }
    }
    Ok(())
}

/// Amendments that a site proposed, answered or has to answer, the oldest first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such animal.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    (animal, open_only): (&str, bool),
    page: &Page,
    known_at: Option<DateTime<Utc>>,
) -> Result<Slice<Amendment>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, known_at).await?;
    let animal = match animal {
        "" => None,
        text => Some(one_animal(&snapshot, Some(&permit), text, records.store.now(), Lock::None).await?.id),
    };
    let wanted = Wanted { animal, open_only, ..Wanted::default() };
    let found = amendments::list(&snapshot, &permit, &wanted, page).await?;
    let entries = named(&snapshot, &permit, records.store.now(), found.entries).await?;
    Ok(Slice { entries: entries.into_iter().map(|one| one.amendment).collect(), next: found.next })
}

async fn one(tx: &Tx, permit: &Permit, id: Uuid) -> Result<Standing> {
    let wanted = Wanted { id: Some(id), ..Wanted::default() };
    let found = amendments::list(tx, permit, &wanted, &Page { size: 1, after: None }).await?;
    let mut named = named(tx, permit, tx.now(), found.entries).await?;
    named.pop().ok_or_else(|| Refusal::not_found("amendment", &id.to_string()).into())
}

/// The same with what the site calls the animals.
async fn named(
    snapshot: &Snapshot,
    permit: &Permit,
    now: DateTime<Utc>,
    mut standing: Vec<Standing>,
) -> Result<Vec<Standing>> {
    let ids: Vec<Uuid> = standing.iter().map(|one| one.amendment.animal.id).collect();
    let views = animals::views(snapshot, &ids, lens_of(permit.site(), None, now)).await?;
    for one in &mut standing {
        if let Some(view) = views.iter().find(|view| view.id == one.amendment.animal.id) {
            one.amendment.animal = view.label();
        }
    }
    Ok(standing)
}

fn wrong_state(say: String, mend: &str) -> Refusal {
    Refusal::new(Reason::AmendmentWrongState, say, mend)
}

fn held_elsewhere(animal: Uuid, say: String, mend: &str) -> Refusal {
    Refusal::new(Reason::HeldElsewhere, say, mend).fact("animal", animal.to_string())
}
