//! What goes well: one record, one instant, one holder at a time.

use super::Move;
use chrono::TimeDelta;
use holt_proto::time::{instant, timestamp};
use holt_proto::v1::{self, AnimalStatus, TransferState};
use holt_server::clock::Clock;
use sqlx::types::chrono::{DateTime, Utc};

#[tokio::test]
async fn the_holding_passes_in_one_instant() {
    let this = Move::dispatched().await;
    let on_the_way = this.seen_by(&this.quill).await.unwrap();
    assert_eq!((on_the_way.status(), on_the_way.holder.as_str()), (AnimalStatus::Held, "QUI"));

    let answer = this.receive().await.unwrap();
    let transfer = answer.transfer.unwrap();
    assert_eq!(answer.accession, "BRA-26-0001");
    assert_eq!(transfer.state(), TransferState::Received);
    assert_eq!(
        (transfer.from_accession.as_str(), transfer.to_accession.as_str()),
        ("QUI-25-0001", "BRA-26-0001")
    );
    let steps: Vec<_> = transfer.steps.iter().map(|s| (s.step.as_str(), s.site.as_str())).collect();
    assert_eq!(steps, [("proposed", "QUI"), ("agreed", "BRA"), ("dispatched", "QUI"), ("received", "BRA")]);
    assert_eq!(transfer.missing, Vec::<String>::new());

    let mut owner = this.house.owner().await;
    let passed: Vec<(DateTime<Utc>, DateTime<Utc>)> = sqlx::query_as(
        "SELECT old.ended_at, new.began_at FROM holdings old JOIN holdings new USING (animal_id)
          WHERE old.superseded_at IS NULL AND new.superseded_at IS NULL
            AND old.ended_how = 'transfer' AND new.began_how = 'transfer'",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(passed.len(), 1);
    assert_eq!(passed[0].0, passed[0].1);

    let here = this.seen_by(&this.brack).await.unwrap();
    assert_eq!((here.status(), here.holder.as_str()), (AnimalStatus::Held, "BRA"));
    assert_eq!((here.accession.as_str(), here.owner.as_str()), ("BRA-26-0001", "BRA"));
    let there = this.seen_by(&this.quill).await.unwrap();
    assert_eq!((there.status(), there.went_to.as_str()), (AnimalStatus::MovedOn, "BRA"));
    this.house.close().await;
}

#[tokio::test]
async fn each_step_may_be_sent_again() {
    let this = Move::dispatched().await;
    let receipt = this.receipt();
    let mut client = this.brack.registrar.client.transfers();
    let first = client.receive_transfer(receipt.clone()).await.unwrap().into_inner();
    let again = client.receive_transfer(receipt).await.unwrap().into_inner();
    assert_eq!(first, again);
    this.house.close().await;
}

#[tokio::test]
async fn a_receipt_that_is_only_tried_changes_nothing() {
    let this = Move::dispatched().await;
    let trial = v1::ReceiveTransferRequest { validate_only: true, ..this.receipt() };
    let told = this.brack.registrar.client.transfers().receive_transfer(trial).await.unwrap().into_inner();
    assert_eq!(told.accession, "BRA-26-0001");
    assert_eq!(this.seen_by(&this.quill).await.unwrap().holder, "QUI");
    assert_eq!(this.receive().await.unwrap().accession, "BRA-26-0001");
    this.house.close().await;
}

#[tokio::test]
async fn a_receipt_noted_later_passes_the_holding_when_the_animal_arrived() {
    let this = Move::dispatched().await;
    this.house.clock.advance(TimeDelta::hours(5));
    let arrived = this.house.clock.now();
    this.house.clock.advance(TimeDelta::hours(3));
    let receipt = v1::ReceiveTransferRequest { received_at: Some(timestamp(arrived)), ..this.receipt() };
    let mut client = this.brack.registrar.client.transfers();
    let transfer = client.receive_transfer(receipt).await.unwrap().into_inner().transfer.unwrap();
    let told = transfer.steps.last().unwrap();
    assert_eq!(instant(told.happened_at.unwrap()), Ok(arrived));
    assert!(instant(told.recorded_at.unwrap()).unwrap() > arrived);
    this.house.close().await;
}

#[tokio::test]
async fn a_loan_leaves_the_title_where_it_is() {
    let this = Move::proposed().await;
    this.refuse().await.unwrap();
    let request = v1::ProposeTransferRequest {
        request_id: this.house.request(),
        site: "QUI".into(),
        animal: "Bramble".into(),
        to_site: "BRA".into(),
        terms: v1::TransferTerms::Loan.into(),
        loan_until: Some("2028-03-01".parse().unwrap()),
        planned_on: Some("2026-03-09".parse().unwrap()),
        why: "to breed".into(),
        ..Default::default()
    };
    let mut client = this.quill.registrar.client.transfers();
    let loan = client.propose_transfer(request).await.unwrap().into_inner().transfer.unwrap();
    let this = Move { transfer: loan.id, ..this };
    this.agree().await.unwrap();
    this.dispatch().await.unwrap();
    this.receive().await.unwrap();
    let lent = this.seen_by(&this.brack).await.unwrap();
    assert_eq!((lent.holder.as_str(), lent.owner.as_str()), ("BRA", "QUI"));
    // The owner sees its animal wherever it lives.
    let owned = this.seen_by(&this.quill).await.unwrap();
    assert_eq!((owned.status(), owned.holder.as_str()), (AnimalStatus::Held, "BRA"));
    this.house.close().await;
}

#[tokio::test]
async fn an_animal_that_comes_back_has_its_old_number() {
    let this = Move::received().await;
    let back = super::propose(&this.house, &this.brack, &this.otter.id, "QUI").await.unwrap();
    let id = back.id;
    let agree = v1::AgreeTransferRequest {
        request_id: this.house.request(),
        transfer_id: id.clone(),
        ..Default::default()
    };
    this.quill.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: this.house.request(),
        transfer_id: id.clone(),
        ..Default::default()
    };
    this.brack.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
    let receive = v1::ReceiveTransferRequest {
        request_id: this.house.request(),
        transfer_id: id,
        ..Default::default()
    };
    let answer = this.quill.registrar.client.transfers().receive_transfer(receive).await.unwrap();
    assert_eq!(answer.into_inner().accession, "QUI-25-0001");
    this.house.close().await;
}
