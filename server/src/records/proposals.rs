//! Proposals: what a registrar proposes for all sites, and a curator accepts or declines.

use crate::access::permit::{Caller, Leave};
use crate::access::roles::Deed;
use crate::model::amendment::Outcome;
use crate::model::document::Kind;
use crate::model::page::{Page, Slice};
use crate::model::proposal::{Change, Proposal, Proposed, Stood};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::taxon::Taxon;
use crate::model::traits::Traits;
use crate::records::documents;
use crate::records::error::{Error, Refusal, Result};
use crate::records::{Records, fresh, taxa};
use crate::store::proposals::{self, Wanted};
use crate::store::{Snapshot, Tx, retrying, traits};
use chrono::{DateTime, Utc};
use holt_audit::ethogram::SoundEthogram;
use holt_audit::growth::SoundReference;
use holt_audit::standard::SoundStandard;
use holt_audit::welfare::Sound;
use uuid::Uuid;

/// Refuses what could not be made today. Says the change in words, and what stands in its place.
async fn checked(tx: &Tx, change: &Change) -> Result<(String, Stood)> {
    match change {
        Change::Species(name, new) => {
            let species = taxa::fitting(tx, name, new).await?;
            let before = new.instead_of(&species);
            if before == **new {
                return Err(already(&species));
            }
            let stands = before.described().join("; ");
            let says = format!("{}: {}{}", species.scientific_name, new.spoken(), before_that(&stands));
            let described = Some(Box::new(before));
            Ok((says, Stood { species: Some(species.id), described, ..Stood::default() }))
        }
        Change::Traits(name, new) => {
            let species = taxa::one(tx, name).await?;
            let traits = traits::all(tx).await?.remove(&species.id);
            if traits.as_ref() == Some(new) {
                return Err(already(&species));
            }
            let stands = traits.as_ref().map(Traits::spoken).unwrap_or_default();
            let says = format!("{}: {}{}", species.scientific_name, new.spoken(), before_that(&stands));
            Ok((says, Stood { species: Some(species.id), traits, ..Stood::default() }))
        }
        Change::Document(kind, text) => {
            let says = match kind {
                Kind::Protocol => documents::publishable::<Sound>(tx, text).await?,
                Kind::Ethogram => documents::publishable::<SoundEthogram>(tx, text).await?,
                Kind::GrowthReference => documents::publishable::<SoundReference>(tx, text).await?,
                Kind::Standard => documents::publishable::<SoundStandard>(tx, text).await?,
            };
            Ok((says, Stood::default()))
        }
    }
}

fn before_that(stands: &str) -> String {
    if stands.is_empty() { String::new() } else { format!(" (before: {stands})") }
}

fn already(species: &Taxon) -> Error {
    let say = format!("{} already has this description", species.scientific_name);
    Refusal::new(Reason::Exists, say, "leave it so, or propose something else").at("change").into()
}

/// Makes the change, for all sites.
async fn make(tx: &mut Tx, proposal: &Proposal) -> Result<()> {
    let (_, stands) = checked(tx, &proposal.proposed.change).await?;
    if stands != proposal.proposed.stood {
        let say = format!("the record changed after the proposal: {}", proposal.says);
        return Err(wrong_state(say, "decline it, and let the site propose it again").into());
    }
    match proposal.proposed.change.clone() {
        Change::Species(name, mut change) => {
            change.because = format!("{} (proposed by {})", proposal.because, proposal.site);
            taxa::change(tx, &name, &change).await?;
        }
        Change::Traits(name, new) => {
            taxa::say(tx, &name, &new).await?;
        }
        Change::Document(Kind::Protocol, text) => {
            documents::publish::<Sound>(tx, &text).await?;
        }
        Change::Document(Kind::Ethogram, text) => {
            documents::publish::<SoundEthogram>(tx, &text).await?;
        }
        Change::Document(Kind::GrowthReference, text) => {
            documents::publish::<SoundReference>(tx, &text).await?;
        }
        Change::Document(Kind::Standard, text) => {
            documents::publish::<SoundStandard>(tx, &text).await?;
        }
    }
    Ok(())
}

/// Proposes a change for all sites.
///
/// # Errors
/// Refused without the role there; where a curator could not make the change, it would change nothing, or the
/// site proposed the same and nobody answered.
pub async fn propose(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    (change, because): (&Change, &str),
) -> Result<Proposal> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("propose_change", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let (says, stood) = checked(&tx, change).await?;
        let proposed = Proposed { change: change.clone(), stood };
        if let Some(open) = proposals::open_alike(&tx, &permit, &proposed).await? {
            let say =
                format!("{} already proposed the same, and nobody has answered: {says}", permit.site().code);
            let refusal =
                Refusal::new(Reason::Exists, say, "wait for the answer, or withdraw that one first");
            return Err(refusal.fact("proposal", open.to_string()).at("change").into());
        }
        let id = proposals::insert(&mut tx, &permit, (&proposed, says, because.to_owned())).await?;
        let reply = one(&tx, id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Answers a proposal: a curator accepts and declines, the site that made it withdraws. One that is accepted
/// is made by the same write.
///
/// # Errors
/// Refused without the role of curator, or without the role at the site that withdraws; where there is no
/// such proposal, or it is answered; and where what stands was changed since it was proposed, or the change
/// itself is refused.
pub async fn answer(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    (id, outcome, note): (Uuid, Outcome, &str),
) -> Result<Proposal> {
    if outcome == Outcome::Withdrawn {
        let permit = records.permit(caller, Deed::Register, site).await?;
        return reply(records, &permit, request, (id, outcome, note)).await;
    }
    reply(records, &caller.may_everywhere(Deed::Curate)?, request, (id, outcome, note)).await
}

async fn reply(
    records: &Records,
    leave: &impl Leave,
    request: &Request,
    (id, outcome, note): (Uuid, Outcome, &str),
) -> Result<Proposal> {
    retrying("answer_proposal", || async {
        let mut tx = fresh!(records.store.write(leave, request).await?);
        let proposal = one(&tx, id).await?;
        if let Some(answer) = &proposal.answer {
            let say = format!("this proposal is {} already: {}", answer.outcome.spoken(), proposal.says);
            return Err(wrong_state(say, "propose it again if that was wrong")
                .fact("state", answer.outcome.spoken())
                .into());
        }
        if outcome == Outcome::Accepted {
            make(&mut tx, &proposal).await?;
        }
        proposals::answer(&mut tx, &proposal, outcome, note).await?;
        let reply = one(&tx, id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Proposals of a site, or of all sites for a curator, the oldest first.
///
/// # Errors
/// Refused where there is no such site in scope; without the role of curator, where no site is named.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    open_only: bool,
    page: &Page,
    known_at: Option<DateTime<Utc>>,
) -> Result<Slice<Proposal>> {
    let wanted = Wanted { open_only, ..Wanted::default() };
    if site.is_empty() {
        let snapshot = records.store.read(&caller.may_everywhere(Deed::Curate)?, known_at).await?;
        return Ok(proposals::list(&snapshot, &wanted, page).await?);
    }
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.store.read(&permit, known_at).await?;
    Ok(proposals::list(&snapshot, &Wanted { site: Some(permit.site().id), ..wanted }, page).await?)
}

fn wrong_state(say: String, mend: &str) -> Refusal {
    Refusal::new(Reason::ProposalWrongState, say, mend)
}

async fn one(snapshot: &Snapshot, id: Uuid) -> Result<Proposal> {
    let wanted = Wanted { id: Some(id), ..Wanted::default() };
    let found = proposals::list(snapshot, &wanted, &Page { size: 1, after: None }).await?.entries.pop();
    found.ok_or_else(|| Refusal::not_found("proposal", &id.to_string()).into())
}
