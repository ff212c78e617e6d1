//! A move that is recorded after it happened has the times at which it did: 'Friday's move, typed on Monday'.

use super::Move;
use crate::journeys::holder::past_the_code;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use holt_proto::time::{day, instant, timestamp};
use holt_proto::v1;
use holt_tests::{House, Park, reason};
use tonic::Status;
use tonic_types::StatusExt;

/// Two parks of one zone, and an otter of the first; it is Monday there, and nothing of Friday's move was recorded.
struct Monday {
    house: House,
    quill: Park,
    brack: Park,
    otter: v1::Animal,
    friday: NaiveDate,
}

impl Monday {
    async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "Europe/Dublin").await;
        let otter = house.otter(&quill, "Bramble").await;
        house.clock.set("2026-03-16T09:00:00Z".parse().unwrap());
        Self { house, quill, brack, otter, friday: "2026-03-13".parse().unwrap() }
    }

    fn propose(&self) -> v1::ProposeTransferRequest {
        v1::ProposeTransferRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: self.otter.id.clone(),
            to_site: "BRA".to_owned(),
            terms: v1::TransferTerms::TitlePasses.into(),
            why: "to pair with Rowan".to_owned(),
            ..Default::default()
        }
    }

    async fn proposed(&self, ask: v1::ProposeTransferRequest) -> Result<v1::Transfer, Status> {
        Ok(self.quill.registrar.client.send(ask).await?.transfer.unwrap())
    }

    async fn agreed(&self, transfer: &v1::Transfer, on: NaiveDate) -> Result<v1::Transfer, Status> {
        let ask = v1::AgreeTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer.id.clone(),
            agreed_on: Some(day(on)),
            ..Default::default()
        };
        Ok(self.brack.registrar.client.send(ask).await?.transfer.unwrap())
    }

    fn dispatch(&self, transfer: &v1::Transfer) -> v1::DispatchTransferRequest {
        v1::DispatchTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer.id.clone(),
            ..Default::default()
        }
    }

    fn receive(&self, transfer: &v1::Transfer) -> v1::ReceiveTransferRequest {
        v1::ReceiveTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer.id.clone(),
            ..Default::default()
        }
    }

    /// Proposed and agreed on Friday, each by its day alone.
    async fn settled(&self) -> v1::Transfer {
        let ask = v1::ProposeTransferRequest { proposed_on: Some(day(self.friday)), ..self.propose() };
        let proposed = self.proposed(ask).await.unwrap();
        self.agreed(&proposed, self.friday).await.unwrap()
    }

    /// What the keeper of a park has read on the scale.
    async fn weigh(&self, park: &Park, at: DateTime<Utc>) -> v1::ReadingAnswer {
        let round = self.house.round(&park.code, &[(self.otter.id.as_str(), at, 8_000)]);
        let answers = park.keeper.client.weights().record_weights(round).await.unwrap().into_inner().answers;
        answers[0].clone()
    }

    async fn holder(&self, park: &Park, as_of: &str) -> String {
        let ask = v1::GetAnimalRequest {
            site: park.code.clone(),
            animal: self.otter.id.clone(),
            as_of: Some(as_of.parse().unwrap()),
            ..Default::default()
        };
        park.registrar.client.send(ask).await.unwrap().animal.unwrap().holder
    }
}

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn field(refused: &Status) -> String {
    refused.get_details_bad_request().unwrap().field_violations[0].field.clone()
}

#[tokio::test]
async fn fridays_move_typed_on_monday() {
    let monday = Monday::new().await;
    let ask = v1::ProposeTransferRequest {
        proposed_at: Some(timestamp(at("2026-03-12T15:00:00Z"))),
        planned_on: Some(day(monday.friday)),
        ..monday.propose()
    };
    let transfer = monday.proposed(ask).await.unwrap();
    monday.agreed(&transfer, "2026-03-12".parse().unwrap()).await.unwrap();
    let left = v1::DispatchTransferRequest {
        dispatched_at: Some(timestamp(at("2026-03-13T07:30:00Z"))),
        ..monday.dispatch(&transfer)
    };
    monday.quill.registrar.client.send(left).await.unwrap();
    let came = v1::ReceiveTransferRequest {
        received_at: Some(timestamp(at("2026-03-13T15:00:00Z"))),
        ..monday.receive(&transfer)
    };
    let came = monday.brack.registrar.client.send(came).await.unwrap().transfer.unwrap();
    let steps: Vec<(String, String, bool)> = came
        .steps
        .iter()
        .map(|step| {
            let at = instant(step.happened_at.unwrap()).unwrap();
            (step.step.clone(), at.format("%d %H:%M").to_string(), step.day_only)
        })
        .collect();
    let told = |step: &str, at: &str, day_only| (step.to_owned(), at.to_owned(), day_only);
    assert_eq!(
        steps,
        [
            told("proposed", "12 15:00", false),
            told("agreed", "12 15:00", true),
            told("dispatched", "13 07:30", false),
            told("received", "13 15:00", false),
        ]
    );
    assert_eq!(monday.holder(&monday.quill, "2026-03-12").await, "QUI");
    assert_eq!(monday.holder(&monday.brack, "2026-03-13").await, "BRA");
    // The weekend is the destination's, and the morning before it left the sender's.
    let saturday = monday.weigh(&monday.brack, at("2026-03-14T08:00:00Z")).await;
    assert_eq!(saturday.outcome(), v1::ReadingOutcome::Accepted, "{saturday:?}");
    let before = monday.weigh(&monday.quill, at("2026-03-13T06:30:00Z")).await;
    assert_eq!(before.outcome(), v1::ReadingOutcome::Accepted, "{before:?}");
    monday.house.close().await;
}

/// A departure and an arrival of one day, of which no time was noted, fit; so does what each site saw on that day.
#[tokio::test]
async fn days_alone_fit_one_another() {
    let monday = Monday::new().await;
    let morning = monday.weigh(&monday.quill, at("2026-03-13T07:00:00Z")).await;
    assert_eq!(morning.outcome(), v1::ReadingOutcome::Accepted, "{morning:?}");
    let transfer = monday.settled().await;
    let left =
        v1::DispatchTransferRequest { dispatched_on: Some(day(monday.friday)), ..monday.dispatch(&transfer) };
    let left = monday.quill.registrar.client.send(left).await.unwrap().transfer.unwrap();
    let dispatched = left.steps.last().unwrap();
    assert_eq!(
        instant(dispatched.happened_at.unwrap()),
        Ok(at("2026-03-13T07:00:00Z")),
        "after it was weighed"
    );
    assert!(dispatched.day_only);
    let came =
        v1::ReceiveTransferRequest { received_on: Some(day(monday.friday)), ..monday.receive(&transfer) };
    monday.brack.registrar.client.send(came).await.unwrap();
    let evening = monday.weigh(&monday.brack, at("2026-03-13T17:00:00Z")).await;
    assert_eq!(evening.outcome(), v1::ReadingOutcome::Accepted, "{evening:?}");
    monday.house.close().await;
}

#[tokio::test]
async fn times_that_do_not_follow_one_another_are_refused_where_they_are() {
    let monday = Monday::new().await;
    let (tomorrow, thursday) = (day("2026-03-17".parse().unwrap()), day("2026-03-12".parse().unwrap()));
    let future = v1::ProposeTransferRequest { proposed_on: Some(tomorrow), ..monday.propose() };
    let refused = monday.proposed(future).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), field(&refused).as_str()), ("IN_THE_FUTURE", "proposed_on"));
    let before_it_came = day("2024-06-01".parse().unwrap());
    let early = v1::ProposeTransferRequest { proposed_on: Some(before_it_came), ..monday.propose() };
    let refused = monday.proposed(early).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    assert!(refused.message().contains("before QUI held Bramble"), "{}", refused.message());
    let both = v1::ProposeTransferRequest {
        proposed_on: Some(thursday),
        proposed_at: Some(timestamp(at("2026-03-12T15:00:00Z"))),
        ..monday.propose()
    };
    let refused = monday.proposed(both).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), field(&refused).as_str()), ("MALFORMED", "proposed_on"));

    let transfer = monday.settled().await;
    let early = v1::DispatchTransferRequest { dispatched_on: Some(thursday), ..monday.dispatch(&transfer) };
    let refused = monday.quill.registrar.client.send(early).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), field(&refused).as_str()), ("OUT_OF_ORDER", "dispatched_on"));
    // On Saturday it was still weighed at home: one of the two is wrong.
    monday.weigh(&monday.quill, at("2026-03-14T08:00:00Z")).await;
    let left =
        v1::DispatchTransferRequest { dispatched_on: Some(day(monday.friday)), ..monday.dispatch(&transfer) };
    let refused = monday.quill.registrar.client.send(left).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    assert!(refused.message().contains("was weighed at 2026-03-14 08:00"), "{}", refused.message());
    monday.house.close().await;
}

/// The database does not take a step that happened before the one it follows, or that has not happened.
#[tokio::test]
async fn the_database_holds_the_order_of_steps_by_itself() {
    let this = Move::agreed().await;
    for ago in ["1 day", "-1 day"] {
        let update = format!(
            "UPDATE public.transfers SET state = 'dispatched', version = 3 WHERE id = '{}'",
            this.transfer
        );
        let step = format!(
            "INSERT INTO public.transfer_steps (transfer_id, seq, step, state, site_id, happened_at, day_only, note,
                                                to_number, recorded_at, recorded_by, request_id)
             SELECT transfer_id, 3, 'dispatched', 'dispatched', (SELECT id FROM sites WHERE code = 'QUI'),
                    happened_at - interval '{ago}', false, '', '', recorded_at, recorded_by, request_id
               FROM transfer_steps WHERE transfer_id = '{}' AND seq = 2",
            this.transfer
        );
        let told = past_the_code(&this.house, "QUI", &[&update, &step], &this.otter.id).await;
        assert_eq!(told, "23514", "{ago}");
    }
    this.house.close().await;
}

/// Whoever is called the owner now does not lose the animal by terms that were true once.
#[tokio::test]
async fn at_receipt_it_is_asked_again_who_owns_it() {
    let this = Move::dispatched().await;
    this.house.clock.advance(TimeDelta::days(1));
    let pass = v1::PassTitleRequest {
        request_id: this.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        to: "Fenwater Collection".to_owned(),
        because: "sold".to_owned(),
        ..Default::default()
    };
    let refused = this.quill.registrar.client.send(pass).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_ON_THE_MOVE", "{refused:?}");
    // It was never its own.
    let history =
        v1::GetHistoryRequest { site: "QUI".to_owned(), animal: "Bramble".to_owned(), ..Default::default() };
    let facts = this.quill.registrar.client.send(history).await.unwrap().facts;
    let title = facts.iter().find(|fact| fact.kind() == v1::FactKind::Title).unwrap();
    let owner = v1::CorrectFactRequest {
        request_id: this.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: title.id.clone(),
        change: Some(v1::FactChange { owner: Some("Fenwater Collection".to_owned()), ..Default::default() }),
        because: "the contract says so".to_owned(),
        ..Default::default()
    };
    this.quill.registrar.client.send(owner).await.unwrap();
    let refused = this.receive().await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_THE_OWNER", "{refused:?}");
    let owner = &refused.get_details_error_info().unwrap().metadata["owner"];
    assert_eq!(owner, "Fenwater Collection");
    this.cancel().await.unwrap();
    this.house.close().await;
}
