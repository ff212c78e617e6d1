//! `AmendmentService`.

use crate::api::decode::Form;
use crate::api::encode::id;
use crate::api::{Api, animals, caller, corrections, merges, status};
use crate::model::amendment::{Amendment, Outcome};
use crate::model::death::{Body, Death};
use crate::model::holding::When;
use crate::model::request::Request as Write;
use crate::records::amendments::{self, Asked, Joined, Other, Proposal, Reply};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::amendment_service_server::AmendmentService;
use holt_proto::v1::propose_amendment_request::Change;
use tonic::{Request, Response, Status};
use uuid::Uuid;

fn encode(amendment: Amendment) -> v1::Amendment {
    let state = match amendment.answer.as_ref().map(|answer| answer.outcome) {
        None => v1::AmendmentState::Open,
        Some(Outcome::Accepted) => v1::AmendmentState::Accepted,
        Some(Outcome::Declined) => v1::AmendmentState::Declined,
        Some(Outcome::Withdrawn) => v1::AmendmentState::Withdrawn,
    };
    let encoded = v1::Amendment {
        id: id(amendment.id),
        animal_id: id(amendment.animal.id),
        accession: amendment.animal.accession,
        house_name: amendment.animal.house_name,
        site: amendment.site,
        says: amendment.says,
        fact_id: amendment.fact.map(id).unwrap_or_default(),
        asked_site: amendment.asked,
        because: amendment.because,
        proposed_at: Some(timestamp(amendment.at)),
        proposed_by: amendment.by,
        state: state.into(),
        ..Default::default()
    };
    let Some(answer) = amendment.answer else { return encoded };
    v1::Amendment {
        answered_site: answer.site,
        answer: answer.note,
        answered_at: Some(timestamp(answer.at)),
        answered_by: answer.by,
        ..encoded
    }
}

fn asked(form: &mut Form, wire: Option<Change>) -> Asked {
    match wire {
        None => {
            form.wrong(
                "change",
                "is missing",
                "give a correction, a fact to withdraw, a death, a merge, or a merge that was wrong",
            );
            Asked::Withdrawal(Uuid::nil())
        }
        Some(Change::Correction(wire)) => {
            let fact = form.uuid("correction.fact_id", &wire.fact_id);
            Asked::Correction(fact, Box::new(corrections::change(form, wire.change)))
        }
        Some(Change::Merge(wire)) => Asked::Merge(Other {
            site: form.site("merge.site", &wire.site),
            animal: form.animal("merge.animal", &wire.animal),
        }),
        Some(Change::WrongMergeId(merge)) => Asked::Unmerge(form.uuid("wrong_merge_id", &merge)),
        Some(Change::WithdrawnFactId(fact)) => Asked::Withdrawal(form.uuid("withdrawn_fact_id", &fact)),
        Some(Change::Death(wire)) => {
            let death = Death {
                died: form.part_of_day("death.died_on", wire.died_on),
                found_on: form.optional_day("death.found_on", wire.found_on),
                manner: animals::manner(form, "death.manner", wire.manner),
                note: form.text("death.note", &wire.note, 0..=2000),
                body: Body::default(),
            };
            let day = death.day().or(death.found_on);
            if day.is_none() && wire.found_on.is_none() {
                let say = "is missing, and the exact day of death is not known";
                let mend = "give the day on which it was found dead, or the whole day of death";
                form.wrong("death.found_on", say, mend);
            }
            Asked::Death(When { day: day.unwrap_or_default(), at: None }, Box::new(death))
        }
    }
}

impl Api {
    async fn answer(
        &self,
        caller: &crate::access::permit::Caller,
        (form, write): (Form, Write),
        site: &str,
        reply: Reply,
    ) -> Result<Option<v1::Amendment>, Status> {
        form.done()?;
        let answered = amendments::answer(&self.records, caller, &write, site, &reply).await;
        Ok(Some(encode(answered.map_err(status::from)?)))
    }
}

#[tonic::async_trait]
impl AmendmentService for Api {
    async fn propose_amendment(
        &self,
        request: Request<v1::ProposeAmendmentRequest>,
    ) -> Result<Response<v1::ProposeAmendmentResponse>, Status> {
        const METHOD: &str = "AmendmentService/ProposeAmendment";
        let (caller, wire) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request(METHOD, &wire.request_id, &wire, wire.validate_only);
        let site = form.site("site", &wire.site);
        let new = Proposal {
            animal: form.animal("animal", &wire.animal),
            asked: asked(&mut form, wire.change),
            because: form.text("because", &wire.because, 1..=500),
        };
        form.done()?;
        let proposed =
            amendments::propose(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::ProposeAmendmentResponse { amendment: Some(encode(proposed)) }))
    }

    async fn accept_amendment(
        &self,
        request: Request<v1::AcceptAmendmentRequest>,
    ) -> Result<Response<v1::AcceptAmendmentResponse>, Status> {
        const METHOD: &str = "AmendmentService/AcceptAmendment";
        let (caller, wire) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request(METHOD, &wire.request_id, &wire, wire.validate_only);
        let site = form.site("site", &wire.site);
        let reply = Reply {
            amendment: form.uuid("amendment_id", &wire.amendment_id),
            outcome: Outcome::Accepted,
            note: form.text("note", &wire.note, 0..=500),
            merge: Joined {
                animal: form.text("animal", &wire.animal, 0..=100),
                stands: merges::stands(&mut form, &wire.resolve),
            },
        };
        let amendment = self.answer(&caller, (form, write), &site, reply).await?;
        Ok(Response::new(v1::AcceptAmendmentResponse { amendment }))
    }

    async fn decline_amendment(
        &self,
        request: Request<v1::DeclineAmendmentRequest>,
    ) -> Result<Response<v1::DeclineAmendmentResponse>, Status> {
        const METHOD: &str = "AmendmentService/DeclineAmendment";
        let (caller, wire) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request(METHOD, &wire.request_id, &wire, false);
        let site = form.site("site", &wire.site);
        let reply = Reply {
            amendment: form.uuid("amendment_id", &wire.amendment_id),
            outcome: Outcome::Declined,
            note: form.text("because", &wire.because, 1..=500),
            merge: Joined::default(),
        };
        let amendment = self.answer(&caller, (form, write), &site, reply).await?;
        Ok(Response::new(v1::DeclineAmendmentResponse { amendment }))
    }

    async fn withdraw_amendment(
        &self,
        request: Request<v1::WithdrawAmendmentRequest>,
    ) -> Result<Response<v1::WithdrawAmendmentResponse>, Status> {
        const METHOD: &str = "AmendmentService/WithdrawAmendment";
        let (caller, wire) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request(METHOD, &wire.request_id, &wire, false);
        let site = form.site("site", &wire.site);
        let reply = Reply {
            amendment: form.uuid("amendment_id", &wire.amendment_id),
            outcome: Outcome::Withdrawn,
            note: form.text("because", &wire.because, 0..=500),
            merge: Joined::default(),
        };
        let amendment = self.answer(&caller, (form, write), &site, reply).await?;
        Ok(Response::new(v1::WithdrawAmendmentResponse { amendment }))
    }

    async fn list_amendments(
        &self,
        request: Request<v1::ListAmendmentsRequest>,
    ) -> Result<Response<v1::ListAmendmentsResponse>, Status> {
        const METHOD: &str = "AmendmentService/ListAmendments";
        let (caller, mut wire) = caller::open(request)?;
        let page = wire.page.take();
        let page = self.pages.read(page, METHOD, &wire).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.site("site", &wire.site);
        let animal = form.text("animal", &wire.animal, 0..=100);
        let known_at = form.instant("as_known_at", wire.as_known_at);
        form.done()?;
        let which = (animal.as_str(), wire.open_only);
        let found = amendments::list(&self.records, &caller, &site, which, &page, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListAmendmentsResponse {
            amendments: found.entries.into_iter().map(encode).collect(),
            page: Some(self.pages.write(found.next, METHOD, &wire)),
        }))
    }
}
