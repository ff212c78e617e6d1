//! `ProposalService`.

use crate::api::animals::{described_taxon, taxon_change};
use crate::api::decode::Form;
use crate::api::documents::{kind, wire_kind};
use crate::api::encode::id;
use crate::api::{Api, caller, status};
use crate::model::amendment::Outcome;
use crate::model::document::Kind;
use crate::model::proposal::{Change, Proposal};
use crate::model::taxon::TaxonChange;
use crate::records::proposals;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::proposal_service_server::ProposalService;
use holt_proto::v1::propose_change_request::Change as Wire;
use tonic::{Request, Response, Status};

fn encode(proposal: Proposal) -> v1::Proposal {
    let state = match proposal.answer.as_ref().map(|answer| answer.outcome) {
        None => v1::AmendmentState::Open,
        Some(Outcome::Accepted) => v1::AmendmentState::Accepted,
        Some(Outcome::Declined) => v1::AmendmentState::Declined,
        Some(Outcome::Withdrawn) => v1::AmendmentState::Withdrawn,
    };
    let document = match proposal.proposed.change {
        Change::Document(kind, toml) => Some(v1::ProposedDocument { kind: wire_kind(kind).into(), toml }),
        Change::Species(..) | Change::Traits(..) => None,
    };
    let (answer, answered_at, answered_by) = match proposal.answer {
        Some(answer) => (answer.note, Some(timestamp(answer.at)), answer.by),
        None => Default::default(),
    };
    v1::Proposal {
        id: id(proposal.id),
        site: proposal.site,
        says: proposal.says,
        document,
        because: proposal.because,
        proposed_at: Some(timestamp(proposal.at)),
        proposed_by: proposal.by,
        state: state.into(),
        answer,
        answered_at,
        answered_by,
    }
}

/// The change that is asked for.
fn change(form: &mut Form, wire: Option<Wire>) -> Change {
    match wire {
        None => {
            form.wrong("change", "is missing", "give the change");
            Change::Document(Kind::Protocol, String::new())
        }
        Some(Wire::Species(wire)) => {
            let name = form.text("species.taxon", &wire.taxon, 1..=200);
            // It is proposed and made for the one reason that the proposal gives: its own is looked at and left.
            form.text("species.because", &wire.because, 0..=500);
            unused_id(form, "species.request_id", &wire.request_id);
            let wire = v1::UpdateTaxonRequest { because: "proposed".to_owned(), ..wire };
            let change = TaxonChange { because: String::new(), ..taxon_change(form, &wire) };
            Change::Species(name, Box::new(change))
        }
        Some(Wire::Traits(wire)) => {
            unused_id(form, "traits.request_id", &wire.request_id);
            let (name, traits) = described_taxon(form, wire);
            Change::Traits(name, traits)
        }
        Some(Wire::Document(wire)) => {
            let kind = kind(form, wire.kind);
            Change::Document(kind, form.document("document.toml", &wire.toml))
        }
    }
}

/// The request id of a change that is only proposed: the proposal has one of its own.
fn unused_id(form: &mut Form, field: &str, id: &str) {
    form.text(field, id, 0..=36);
}

#[tonic::async_trait]
impl ProposalService for Api {
    async fn propose_change(
        &self,
        request: Request<v1::ProposeChangeRequest>,
    ) -> Result<Response<v1::ProposeChangeResponse>, Status> {
        let (caller, wire) = caller::open(request)?;
        let mut form = Form::new();
        let write =
            form.request("ProposalService/ProposeChange", &wire.request_id, &wire, wire.validate_only);
        let site = form.site("site", &wire.site);
        let because = form.text("because", &wire.because, 1..=500);
        let change = change(&mut form, wire.change);
        form.done()?;
        let proposed = proposals::propose(&self.records, &caller, &write, &site, (&change, &because))
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ProposeChangeResponse { proposal: Some(encode(proposed)) }))
    }

    async fn accept_proposal(
        &self,
        request: Request<v1::AcceptProposalRequest>,
    ) -> Result<Response<v1::AcceptProposalResponse>, Status> {
        let (caller, wire) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("ProposalService/AcceptProposal", &wire.request_id, &wire, false);
        let proposal = form.uuid("proposal_id", &wire.proposal_id);
        let note = form.text("note", &wire.note, 0..=500);
        form.done()?;
        let reply = (proposal, Outcome::Accepted, note.as_str());
        let answered =
            proposals::answer(&self.records, &caller, &write, "", reply).await.map_err(status::from)?;
        Ok(Response::new(v1::AcceptProposalResponse { proposal: Some(encode(answered)) }))
    }

    async fn decline_proposal(
        &self,
        request: Request<v1::DeclineProposalRequest>,
    ) -> Result<Response<v1::DeclineProposalResponse>, Status> {
        let (caller, wire) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("ProposalService/DeclineProposal", &wire.request_id, &wire, false);
        let proposal = form.uuid("proposal_id", &wire.proposal_id);
        let because = form.text("because", &wire.because, 1..=500);
        form.done()?;
        let reply = (proposal, Outcome::Declined, because.as_str());
        let answered =
            proposals::answer(&self.records, &caller, &write, "", reply).await.map_err(status::from)?;
        Ok(Response::new(v1::DeclineProposalResponse { proposal: Some(encode(answered)) }))
    }

    async fn withdraw_proposal(
        &self,
        request: Request<v1::WithdrawProposalRequest>,
    ) -> Result<Response<v1::WithdrawProposalResponse>, Status> {
        let (caller, wire) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("ProposalService/WithdrawProposal", &wire.request_id, &wire, false);
        let site = form.site("site", &wire.site);
        let proposal = form.uuid("proposal_id", &wire.proposal_id);
        let because = form.text("because", &wire.because, 0..=500);
        form.done()?;
        let reply = (proposal, Outcome::Withdrawn, because.as_str());
        let answered =
            proposals::answer(&self.records, &caller, &write, &site, reply).await.map_err(status::from)?;
        Ok(Response::new(v1::WithdrawProposalResponse { proposal: Some(encode(answered)) }))
    }

    async fn list_proposals(
        &self,
        request: Request<v1::ListProposalsRequest>,
    ) -> Result<Response<v1::ListProposalsResponse>, Status> {
        const METHOD: &str = "ProposalService/ListProposals";
        let (caller, mut wire) = caller::open(request)?;
        let page = wire.page.take();
        let page = self.pages.read(page, METHOD, &wire).map_err(status::refused)?;
        let mut form = Form::new();
        let site = if wire.site.is_empty() { String::new() } else { form.site("site", &wire.site) };
        let known_at = form.instant("as_known_at", wire.as_known_at);
        form.done()?;
        let found = proposals::list(&self.records, &caller, &site, wire.open_only, &page, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListProposalsResponse {
            proposals: found.entries.into_iter().map(encode).collect(),
            page: Some(self.pages.write(found.next, METHOD, &wire)),
        }))
    }
}
