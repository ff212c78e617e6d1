//! `TransferService`.

use crate::api::decode::Form;
use crate::api::encode;
use crate::api::{Api, caller, status};
use crate::model::moment::Moment;
use crate::model::request::Request as Write;
use crate::model::transfer::{NewStep, NewTransfer, Step, Terms};
use crate::records::transfers::{self, Stepped};
use holt_proto::v1;
use holt_proto::v1::transfer_service_server::TransferService;
use tonic::{Request, Response, Status};
use uuid::Uuid;

/// What the steps have in common.
fn step(transfer: Uuid, step: Step, note: String, when: Option<Moment>, version: i64) -> NewStep {
    NewStep { transfer, step, when, note, version, enclosure: String::new(), despite: String::new() }
}

impl Api {
    async fn take(
        &self,
        caller: &crate::access::permit::Caller,
        write: &Write,
        step: &NewStep,
    ) -> Result<Stepped, Status> {
        transfers::step(&self.records, caller, write, step).await.map_err(status::from)
    }
}

#[tonic::async_trait]
impl TransferService for Api {
    async fn propose_transfer(
        &self,
        request: Request<v1::ProposeTransferRequest>,
    ) -> Result<Response<v1::ProposeTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("TransferService/ProposeTransfer", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let terms = match v1::TransferTerms::try_from(asked.terms) {
            Ok(v1::TransferTerms::TitlePasses) => Some(Terms::TitlePasses),
            Ok(v1::TransferTerms::Loan) => Some(Terms::Loan),
            Ok(v1::TransferTerms::Unspecified) | Err(_) => None,
        };
        let new = NewTransfer {
            animal: form.animal("animal", &asked.animal),
            to_site: form.site("to_site", &asked.to_site),
            terms: form.choice("terms", terms, "ownership passes, loan", Terms::Loan),
            loan_until: form.optional_day("loan_until", asked.loan_until),
            planned_on: form.optional_day("planned_on", asked.planned_on),
            why: form.text("why", &asked.why, 1..=1000),
            owner_agreed: form.text("owner_agreed", &asked.owner_agreed, 0..=500),
            when: form.moment("proposed", asked.proposed_at, asked.proposed_on),
        };
        if new.loan_until.is_some() && new.terms != Terms::Loan {
            form.wrong(
                "loan_until",
                "is given for a move that is not a loan",
                "leave it out, or make it a loan",
            );
        }
        form.done()?;
        let transfer =
            transfers::propose(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::ProposeTransferResponse { transfer: Some(encode::transfer(transfer)) }))
    }

    async fn agree_transfer(
        &self,
        request: Request<v1::AgreeTransferRequest>,
    ) -> Result<Response<v1::AgreeTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("TransferService/AgreeTransfer", &asked.request_id, &asked, false);
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let note = form.text("note", &asked.note, 0..=1000);
        let when = form.moment("agreed", asked.agreed_at, asked.agreed_on);
        form.done()?;
        let step = step(id, Step::Agreed, note, when, asked.version);
        let transfer = Some(encode::transfer(self.take(&caller, &write, &step).await?.transfer));
        Ok(Response::new(v1::AgreeTransferResponse { transfer }))
    }

    async fn refuse_transfer(
        &self,
        request: Request<v1::RefuseTransferRequest>,
    ) -> Result<Response<v1::RefuseTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("TransferService/RefuseTransfer", &asked.request_id, &asked, false);
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let why = form.text("why", &asked.why, 1..=1000);
        form.done()?;
        let step = step(id, Step::Refused, why, None, asked.version);
        let transfer = Some(encode::transfer(self.take(&caller, &write, &step).await?.transfer));
        Ok(Response::new(v1::RefuseTransferResponse { transfer }))
    }

    async fn cancel_transfer(
        &self,
        request: Request<v1::CancelTransferRequest>,
    ) -> Result<Response<v1::CancelTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("TransferService/CancelTransfer", &asked.request_id, &asked, false);
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let why = form.text("why", &asked.why, 1..=1000);
        form.done()?;
        let step = step(id, Step::Cancelled, why, None, asked.version);
        let transfer = Some(encode::transfer(self.take(&caller, &write, &step).await?.transfer));
        Ok(Response::new(v1::CancelTransferResponse { transfer }))
    }

    async fn dispatch_transfer(
        &self,
        request: Request<v1::DispatchTransferRequest>,
    ) -> Result<Response<v1::DispatchTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("TransferService/DispatchTransfer", &asked.request_id, &asked, false);
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let when = form.moment("dispatched", asked.dispatched_at, asked.dispatched_on);
        let note = form.text("note", &asked.note, 0..=1000);
        let despite = form.text("despite_concern", &asked.despite_concern, 0..=500);
        form.done()?;
        let step = NewStep { despite, ..step(id, Step::Dispatched, note, when, asked.version) };
        let transfer = Some(encode::transfer(self.take(&caller, &write, &step).await?.transfer));
        Ok(Response::new(v1::DispatchTransferResponse { transfer }))
    }

    async fn receive_transfer(
        &self,
        request: Request<v1::ReceiveTransferRequest>,
    ) -> Result<Response<v1::ReceiveTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("TransferService/ReceiveTransfer", &asked.request_id, &asked, only);
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let when = form.moment("received", asked.received_at, asked.received_on);
        let note = form.text("note", &asked.note, 0..=1000);
        let enclosure = form.text("enclosure", &asked.enclosure, 0..=100);
        form.done()?;
        let step = NewStep { enclosure, ..step(id, Step::Received, note, when, asked.version) };
        let stepped = self.take(&caller, &write, &step).await?;
        Ok(Response::new(v1::ReceiveTransferResponse {
            transfer: Some(encode::transfer(stepped.transfer)),
            accession: stepped.accession,
        }))
    }

    async fn report_transfer_loss(
        &self,
        request: Request<v1::ReportTransferLossRequest>,
    ) -> Result<Response<v1::ReportTransferLossResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("TransferService/ReportTransferLoss", &asked.request_id, &asked, false);
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let loss = match v1::TransferLoss::try_from(asked.loss) {
            Ok(v1::TransferLoss::Death) => Some(Step::Died),
            Ok(v1::TransferLoss::Escape) => Some(Step::Escaped),
            Ok(v1::TransferLoss::Unspecified) | Err(_) => None,
        };
        let loss = form.choice("loss", loss, "death, escape", Step::Died);
        let when = form.moment("lost", asked.lost_at, asked.lost_on);
        let note = form.text("note", &asked.note, 1..=2000);
        form.done()?;
        let step = step(id, loss, note, when, asked.version);
        let transfer = Some(encode::transfer(self.take(&caller, &write, &step).await?.transfer));
        Ok(Response::new(v1::ReportTransferLossResponse { transfer }))
    }

    async fn withhold_transfer(
        &self,
        request: Request<v1::WithholdTransferRequest>,
    ) -> Result<Response<v1::WithholdTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("TransferService/WithholdTransfer", &asked.request_id, &asked, false);
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let why = form.text("why", &asked.why, 1..=1000);
        form.done()?;
        let step = step(id, Step::Withheld, why, None, 0);
        let transfer = Some(encode::transfer(self.take(&caller, &write, &step).await?.transfer));
        Ok(Response::new(v1::WithholdTransferResponse { transfer }))
    }

    async fn release_transfer(
        &self,
        request: Request<v1::ReleaseTransferRequest>,
    ) -> Result<Response<v1::ReleaseTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("TransferService/ReleaseTransfer", &asked.request_id, &asked, false);
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let note = form.text("note", &asked.note, 0..=1000);
        form.done()?;
        let step = step(id, Step::Released, note, None, 0);
        let transfer = Some(encode::transfer(self.take(&caller, &write, &step).await?.transfer));
        Ok(Response::new(v1::ReleaseTransferResponse { transfer }))
    }

    async fn get_transfer(
        &self,
        request: Request<v1::GetTransferRequest>,
    ) -> Result<Response<v1::GetTransferResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let id = form.uuid("transfer_id", &asked.transfer_id);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let transfer = transfers::get(&self.records, &caller, id, known_at).await.map_err(status::from)?;
        Ok(Response::new(v1::GetTransferResponse { transfer: Some(encode::transfer(transfer)) }))
    }

    async fn list_transfers(
        &self,
        request: Request<v1::ListTransfersRequest>,
    ) -> Result<Response<v1::ListTransfersResponse>, Status> {
        const METHOD: &str = "TransferService/ListTransfers";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.optional_site("site", &asked.site);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let found = transfers::list(&self.records, &caller, &site, asked.open_only, &page, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListTransfersResponse {
            transfers: found.entries.into_iter().map(encode::transfer).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
