//! Proposals: what a registrar proposes for all sites, and a curator accepts or declines.

use crate::access::permit::{Caller, Leave};
use crate::access::roles::Deed;
use crate::model::amendment::Outcome;
use crate::model::document::Kind;
use crate::model::page::{Page, Slice};
use crate::model::proposal::Proposal;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::taxon::TaxonChange;
use crate::model::traits::Traits;
use crate::records::documents::{self, Document};
use crate::records::error::{Refusal, Result};
use crate::records::{Records, assessments, ethograms, fresh, growth, taxa};
use crate::store::proposals::{self, Wanted};
use crate::store::{Snapshot, Tx, retrying};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The very change that is asked for.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Asked {
    /// A species by its name is to be called or described otherwise.
    Species(String, Box<TaxonChange>),
    /// Something else is usual in a species.
    Traits(String, Traits),
    /// A new version of a shared document, as it is written.
    Document(Kind, String),
}

impl Asked {
    /// The change that a proposal carries.
    ///
    /// # Errors
    /// A fault where it is not one.
    pub fn of(proposal: &Proposal) -> Result<Self> {
        Ok(serde_json::from_value(proposal.change.clone()).map_err(crate::store::Error::from)?)
    }

    /// Refuses what could not be made today, and says the change in words.
    async fn says(&self, tx: &Tx) -> Result<String> {
        match self {
            Self::Species(name, change) => {
                let species = taxa::fitting(tx, name, change).await?;
                Ok(format!("{}: {}", species.scientific_name, change.spoken()))
            }
            Self::Traits(name, traits) => {
                let species = taxa::one(tx, name).await?;
                Ok(format!("{}: {}", species.scientific_name, traits.spoken()))
            }
            Self::Document(Kind::Protocol, text) => version(tx, &assessments::read(text)?).await,
            Self::Document(Kind::Ethogram, text) => version(tx, &ethograms::read(text)?).await,
            Self::Document(Kind::GrowthReference, text) => version(tx, &growth::read(text)?).await,
        }
    }

    /// Makes the change, for all sites.
    async fn make(self, tx: &mut Tx, from: &Proposal) -> Result<()> {
        match self {
            Self::Species(name, mut change) => {
                change.because = format!("{} (proposed by {})", from.because, from.site);
                taxa::change(tx, &name, &change).await?;
            }
            Self::Traits(name, traits) => {
                taxa::say(tx, &name, &traits).await?;
            }
            Self::Document(Kind::Protocol, text) => {
                documents::publish(tx, &assessments::read(&text)?).await?;
            }
            Self::Document(Kind::Ethogram, text) => {
                documents::publish(tx, &ethograms::read(&text)?).await?;
            }
            Self::Document(Kind::GrowthReference, text) => {
                documents::publish(tx, &growth::read(&text)?).await?;
            }
        }
        Ok(())
    }
}

async fn version<D: Document>(snapshot: &Snapshot, document: &D) -> Result<String> {
    documents::publishable(snapshot, document).await?;
    let (code, version) = document.named();
    Ok(format!("version {version} of the {} `{code}`", D::KIND.spoken()))
}

/// Proposes a change for all sites.
///
/// # Errors
/// Refused without the role there, and where a curator could not make the change.
pub async fn propose(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    (asked, because): (&Asked, &str),
) -> Result<Proposal> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("propose_change", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let says = asked.says(&tx).await?;
        let change = serde_json::to_value(asked).map_err(crate::store::Error::from)?;
        let id = proposals::insert(&mut tx, &permit, (change, says, because.to_owned())).await?;
        let reply = one(&tx, id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Answers a proposal: a curator accepts and declines, the site that made it withdraws. One that is accepted is made by
/// the same write.
///
/// # Errors
/// Refused to whoever is no curator, or without the role at the site that withdraws; where there is no such proposal, or
/// it is answered; and where the change itself is refused.
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
            let say = format!("this proposal is {} already", answer.outcome.spoken());
            return Err(Refusal::new(Reason::AmendmentWrongState, say, "propose it again if that was wrong")
                .fact("state", answer.outcome.spoken())
                .into());
        }
        if outcome == Outcome::Accepted {
            Asked::of(&proposal)?.make(&mut tx, &proposal).await?;
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
/// Refused where there is no such site in scope; to whoever is no curator, where no site is named.
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

async fn one(snapshot: &Snapshot, id: Uuid) -> Result<Proposal> {
    let wanted = Wanted { id: Some(id), ..Wanted::default() };
    let found = proposals::list(snapshot, &wanted, &Page { size: 1, after: None }).await?.entries.pop();
    found.ok_or_else(|| Refusal::not_found("proposal", &id.to_string()).into())
}
