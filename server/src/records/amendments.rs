//! Amendments: what a site that held or owned an animal proposes, and its holder accepts or declines; and
//! that an animal of the site is also in the books of another one, which that site accepts or declines.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::amendment::{Amendment, Kind, New, Outcome};
use crate::model::animal::{Animal, Label, Leaving};
use crate::model::death::Death;
use crate::model::holding::When;
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::{Left, lens_of, take_off};
use crate::records::corrections::{self, Change};
use crate::records::error::{Error, Refusal, Result};
use crate::records::merges::{self, Stands};
use crate::records::{Records, fresh, history, holder, one_animal, one_locked, view};
use crate::store::amendments::{self, Standing, Wanted};
use crate::store::animals::{self, Lock};
use crate::store::merges as links;
use crate::store::{Snapshot, Tx, holdings, retrying};
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
    Merge(Other),
    /// When it is proposed, the merge or the amendment that made it; then the record that was given up by it.
    Unmerge(Uuid),
}

/// The record of another site, as that site calls it. Whether there is one, only that site knows.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Other {
    pub site: String,
    pub animal: String,
}

impl Asked {
    const fn kind(&self) -> Kind {
        match self {
            Self::Correction(..) => Kind::Correction,
            Self::Withdrawal(_) => Kind::Withdrawal,
            Self::Death(..) => Kind::Death,
            Self::Merge(_) => Kind::Merge,
            Self::Unmerge(_) => Kind::Unmerge,
        }
    }

    const fn fact(&self) -> Option<Uuid> {
        match self {
            Self::Correction(fact, _) | Self::Withdrawal(fact) => Some(*fact),
            Self::Death(..) | Self::Merge(_) | Self::Unmerge(_) => None,
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

/// Proposes a change to the holder of an animal; a merge of one that the site answers for, to the site that
/// has the other record.
///
/// # Errors
/// Refused without the role there; where the site never held nor owned the animal, or holds it; where there is no
/// such fact, or it is not of the animal's life. For a merge, where the site does not answer for the animal,
/// there is no such other site, or it was asked already and has not answered.
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
        // Of two proposals at one instant, the second finds the first.
        let label = one_locked(&tx, &permit, &new.animal, tx.now(), Lock::Change).await?;
        let animal = view(&tx, &permit, &label, tx.now()).await?;
        let asked_site = match &new.asked {
            Asked::Merge(other) => Some(other_site(records, &tx, &permit, &animal, other).await?),
            _ => refuse_needless(&tx, &permit, &animal).await.map(|()| None)?,
        };
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
            Asked::Merge(other) => {
                format!("merge: it is the animal that {} records as `{}`", other.site, other.animal)
            }
            Asked::Unmerge(merge) => {
                let (record, said) = wrong_merge(&tx, &permit, &animal, *merge).await?;
                *merge = record;
                said
            }
        };
        let change = serde_json::to_value(&asked).map_err(crate::store::Error::from)?;
        let (kind, fact, because) = (asked.kind(), asked.fact(), new.because.clone());
        let new = New { animal: animal.id, kind, fact, asked: asked_site, change, says, because };
        let id = amendments::insert(&mut tx, &permit, new).await?;
        let reply = one(&tx, &permit, id).await?.amendment;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Refuses a proposal where the site decides by itself, or never had to do with the animal.
async fn refuse_needless(tx: &Tx, permit: &Permit, animal: &Animal) -> Result<()> {
    let (spoken, code) = (animal.label().spoken(), &permit.site().code);
    if holder::decides(tx, permit, animal.id).await? {
        let say = format!("{code} itself answers for {spoken}");
        return Err(wrong_state(say, "record or correct it directly").at("animal").into());
    }
    if !amendments::knew(tx, permit, animal.id).await? {
        let say = format!("{code} never held or owned {spoken}");
        let mend = "let a site that did propose it, or tell the site that holds it";
        return Err(held_elsewhere(animal.id, say, mend).at("animal").into());
    }
    Ok(())
}

/// The site that is asked whether it has a record of an animal that the proposing site answers for.
async fn other_site(
    records: &Records,
    tx: &Tx,
    permit: &Permit,
    animal: &Animal,
    other: &Other,
) -> Result<Uuid> {
    let code = &permit.site().code;
    let asked = records.site(&other.site).await?;
    if asked.id == permit.site().id {
        let mend = "merge the two records directly, or name the other site";
        return Err(wrong_state(format!("{code} would ask itself"), mend).at("merge.site").into());
    }
    if !holder::decides(tx, permit, animal.id).await? {
        let spoken = animal.label().spoken();
        let say = format!("{code} does not answer for {spoken}: another site holds it, or held it last");
        return Err(held_elsewhere(animal.id, say, "leave it to that site").at("animal").into());
    }
    let open =
        Wanted { animal: Some(animal.id), asked: Some(asked.id), open_only: true, ..Wanted::default() };
    let open = amendments::list(tx, permit, &open, &Page { size: 1, after: None }).await?;
    if let Some(open) = open.entries.first() {
        let say =
            format!("{} already has this proposal and has not answered: {}", asked.code, open.amendment.says);
        let refusal =
            Refusal::new(Reason::Exists, say, "wait for the answer, or withdraw that proposal first");
        return Err(refusal.fact("amendment", open.amendment.id.to_string()).at("merge").into());
    }
    Ok(asked.id)
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
        let say = format!("the {} belongs to the site that recorded it", kind.spoken());
        return Err(wrong_state(say, "let that site correct it directly").at("fact_id").into());
    }
    if let Some(change) = change {
        change.fits(kind)?;
    }
    let told = history::these(tx, caller, &[animal.id], &[id]).await?;
    Ok(told.first().map_or_else(|| kind.spoken().to_owned(), |told| told.say.clone()))
}

/// The record that a merge gave up, and the merge in words. A merge with a record of another site is seen by
/// the site that answers for the animal alone; of the other it is known by the amendment that made it.
async fn wrong_merge(tx: &Tx, permit: &Permit, animal: &Animal, id: Uuid) -> Result<(Uuid, String)> {
    if let Some(link) = links::standing(tx, animal.id, id).await? {
        return Ok((link.animal_id, format!("withdraw the merge of {}", animal.label().spoken())));
    }
    let wanted = Wanted { id: Some(id), ..Wanted::default() };
    let found = amendments::list(tx, permit, &wanted, &Page { size: 1, after: None }).await?;
    let made = found.entries.into_iter().map(|one| one.amendment).find(|made| {
        made.kind == Kind::Merge
            && made.answer.as_ref().is_some_and(|answer| answer.outcome == Outcome::Accepted)
    });
    let made = made.ok_or_else(|| Refusal::not_found("merge that was made", &id.to_string()))?;
    Ok((made.animal.id, format!("withdraw the {}", made.says)))
}

/// Names the parent that is meant by its identifier: the holder may know another animal by the same name.
async fn name_parent(tx: &Tx, permit: &Permit, change: &mut Change) -> Result<()> {
    if let Some(text) = &change.parent {
        change.parent = Some(one_animal(tx, Some(permit), text, tx.now()).await?.id.to_string());
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
    /// Of a merge that is accepted.
    pub merge: Joined,
}

/// How two records of an animal become one.
#[derive(Clone, Debug, Default)]
pub struct Joined {
    /// The record of the site that accepts; empty for the one that the proposal names.
    pub animal: String,
    /// What stands of what contradicts one another.
    pub stands: Vec<Stands>,
}

/// Answers an amendment. One that is accepted is made by the same write, as its holder's own, and says who
/// proposed it.
///
/// # Errors
/// Refused without the role there; where there is no such amendment for the site, it is answered, or the site
/// is not the one whose answer it is; and where the change itself is refused.
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
        amendments::hold(&tx, reply.amendment).await?;
        let standing = one(&tx, &permit, reply.amendment).await?;
        let amendment = &standing.amendment;
        if let Some(answer) = &amendment.answer {
            let say = format!("{} is {} already", amendment.says, answer.outcome.spoken());
            return Err(wrong_state(say, "propose it again if that was wrong")
                .fact("state", answer.outcome.spoken())
                .into());
        }
        let accepted = reply.outcome == Outcome::Accepted;
        if accepted && standing.asked.is_some() && amendment.animal.accession.is_empty() {
            let say = format!("{} no longer answers for that animal: it is at another site", amendment.site);
            return Err(wrong_state(say, "decline the proposal").into());
        }
        let animal = amendment.animal.id.to_string();
        // What a site was asked about it can decline when it may no longer read it.
        let label = match standing.asked {
            Some(_) if !accepted => None,
            _ => Some(one_locked(&tx, &permit, &animal, tx.now(), Lock::Change).await?),
        };
        refuse_answer(&tx, &permit, &standing, reply).await?;
        // Both records are the site's own by now: the other site has nothing to agree to.
        if accepted
            && standing.asked.is_some()
            && holdings::answers(&tx, amendment.animal.id).await? == Some(permit.site().id)
        {
            let own = &permit.site().code;
            let say = format!("{} no longer answers for that animal: it is at {own}", amendment.site);
            return Err(wrong_state(say, "decline the proposal, and merge the two records yourself").into());
        }
        let asked: Asked =
            serde_json::from_value(amendment.change.clone()).map_err(crate::store::Error::from)?;
        // Until it is answered, the record of the other site is open to this one: so a link comes before the answer.
        if let (true, Asked::Merge(other)) = (accepted, &asked) {
            join(&mut tx, &permit, &standing, other, &reply.merge).await?;
        }
        amendments::answer(&mut tx, &permit, &standing, reply.outcome, &reply.note).await?;
        if let (true, Some(label)) = (accepted, label) {
            make(records, caller, &mut tx, &permit, &label, &standing, (asked, &reply.merge.stands)).await?;
        }
        let reply = one(&tx, &permit, amendment.id).await?.amendment;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// The holder accepts and declines, or the site that was asked; the site that proposed it withdraws it.
async fn refuse_answer(tx: &Tx, permit: &Permit, standing: &Standing, reply: &Reply) -> Result<()> {
    let accepted = reply.outcome == Outcome::Accepted;
    let merges = accepted && standing.amendment.kind == Kind::Merge;
    let links = merges || (accepted && standing.amendment.kind == Kind::Unmerge);
    if (!reply.merge.animal.is_empty() && !merges) || (!reply.merge.stands.is_empty() && !links) {
        let say = format!("this is not a merge: {}", standing.amendment.says);
        return Err(wrong_state(say, "leave out the animal, and the facts that stand").at("animal").into());
    }
    let own = standing.proposer == permit.site().id;
    let animal = standing.amendment.animal.id;
    if reply.outcome == Outcome::Withdrawn {
        let by = &standing.amendment.site;
        let say = format!("{by} proposed it, and only {by} can withdraw it");
        return if own { Ok(()) } else { Err(held_elsewhere(animal, say, "accept or decline it").into()) };
    }
    if let Some(asked) = standing.asked {
        let say = format!("only {} can answer", standing.amendment.asked);
        let mend =
            if own { "wait for its answer, or withdraw the proposal" } else { "leave it to that site" };
        return if asked == permit.site().id {
            Ok(())
        } else {
            Err(held_elsewhere(animal, say, mend).into())
        };
    }
    if holder::decides(tx, permit, animal).await? {
        return Ok(());
    }
    let say = format!("{} does not hold {}", permit.site().code, standing.amendment.animal.spoken());
    let mend = if own { "wait for the site that holds it, or withdraw it" } else { "leave it to the holder" };
    Err(held_elsewhere(animal, say, mend).into())
}

/// Gives the record that another site proposes up for one of the site's own: so each site sees its own record
/// as before, whichever holds the animal.
async fn join(
    tx: &mut Tx,
    permit: &Permit,
    standing: &Standing,
    other: &Other,
    merge: &Joined,
) -> Result<()> {
    let amendment = &standing.amendment;
    let own = if merge.animal.is_empty() { &other.animal } else { &merge.animal };
    let own = match one_locked(tx, permit, own, tx.now(), Lock::Change).await {
        Err(Error::Refused(refusal)) if refusal.reason == Reason::NotFound => {
            let mend = "name your own record of the animal, or decline the proposal".to_owned();
            return Err(Refusal { mend, ..*refusal }.at("animal").into());
        }
        own => own?,
    };
    let asked = merges::Asked {
        keep: own.id.to_string(),
        give_up: amendment.animal.id.to_string(),
        because: format!("{} (proposed by {})", amendment.because, amendment.site),
        keep_version: 0,
        give_up_version: 0,
        stands: merge.stands.clone(),
    };
    merges::link(tx, permit, &asked, Some(standing.proposer)).await?;
    Ok(())
}

/// Makes the change that was proposed.
async fn make(
    records: &Records,
    caller: &Caller,
    tx: &mut Tx,
    permit: &Permit,
    label: &Label,
    standing: &Standing,
    (asked, stands): (Asked, &[Stands]),
) -> Result<()> {
    let amendment = &standing.amendment;
    let by = format!("proposed by {}", amendment.site);
    let (fact, change) = match asked {
        Asked::Correction(fact, change) => (fact, Some(change)),
        Asked::Withdrawal(fact) => (fact, None),
        Asked::Death(when, mut death) => {
            death.note = if death.note.is_empty() { by } else { format!("{} ({by})", death.note) };
            let how = Leaving::Death(death);
            let left = Left { animal: label.id.to_string(), when, how, version: 0 };
            take_off(tx, permit, &left).await?;
            return Ok(());
        }
        // The link was made before the answer.
        Asked::Merge(_) => return Ok(()),
        Asked::Unmerge(record) => {
            let animal = view(tx, permit, label, tx.now()).await?;
            let over =
                || wrong_state(format!("that is so already: {}", amendment.says), "decline the proposal");
            let link = links::giving_up(tx, animal.id, record).await?.ok_or_else(over)?;
            let because = format!("{} ({by})", amendment.because);
            return merges::part(tx, permit, &animal, &link, (&because, stands)).await;
        }
    };
    let because = format!("{} ({by})", amendment.because);
    let why = corrections::Why { because, consents: records.store.site_of(standing.proposer).await? };
    let animal = view(tx, permit, label, tx.now()).await?;
    corrections::make(records, caller, tx, permit, &animal, (fact, change.as_deref()), &why).await?;
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
        text => Some(one_animal(&snapshot, Some(&permit), text, records.store.now()).await?.id),
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
    Refusal::new(Reason::ProposalWrongState, say, mend)
}

fn held_elsewhere(animal: Uuid, say: String, mend: &str) -> Refusal {
    Refusal::new(Reason::HeldElsewhere, say, mend).fact("animal", animal.to_string())
}
