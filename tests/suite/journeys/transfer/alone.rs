//! Two registrars at once: one is done, the other is told, and there is one holder.

use super::{Move, propose};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::reason;
use tonic::Status;

fn one_won<T, U>(one: &Result<T, Status>, other: &Result<U, Status>, reasons: &[&str]) {
    let refused = match (one, other) {
        (Ok(_), Err(refused)) | (Err(refused), Ok(_)) => refused,
        (Ok(_), Ok(_)) => panic!("both were done"),
        (Err(one), Err(other)) => panic!("neither was done: {one:?}, {other:?}"),
    };
    assert!(reasons.contains(&reason(refused).as_str()), "{refused:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_proposals_of_one_animal() {
    let this = Move::proposed().await;
    this.refuse().await.unwrap();
    let (one, other) = tokio::join!(
        propose(&this.house, &this.quill, "Bramble", "BRA"),
        propose(&this.house, &this.quill, "Bramble", "BRA")
    );
    one_won(&one, &other, &["ANIMAL_ON_THE_MOVE"]);
    this.house.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_receipt_and_a_turning_back() {
    for _ in 0..5 {
        let this = Move::dispatched().await;
        let (received, cancelled) = tokio::join!(this.receive(), this.cancel());
        one_won(&received, &cancelled, &["TRANSFER_WRONG_STATE"]);
        let holder = if received.is_ok() { "BRA" } else { "QUI" };
        let park = if received.is_ok() { &this.brack } else { &this.quill };
        assert_eq!(this.seen_by(park).await.unwrap().holder, holder);
        this.house.close().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_agreement_and_a_calling_off() {
    let this = Move::proposed().await;
    let (agreed, cancelled) = tokio::join!(this.agree(), this.cancel());
    cancelled.unwrap();
    if let Err(refused) = agreed {
        assert_eq!(reason(&refused), "TRANSFER_WRONG_STATE");
    }
    this.house.close().await;
}

/// Who waits for the other's step meets it, and not what was before.
#[tokio::test]
async fn a_departure_that_waits_for_the_agreement_is_not_before_it() {
    let this = Move::proposed().await;
    this.house.clock.advance(TimeDelta::hours(1));
    let dispatch = v1::DispatchTransferRequest {
        request_id: this.house.request(),
        transfer_id: this.transfer.clone(),
        dispatched_at: Some(timestamp(this.house.clock.now() - TimeDelta::minutes(30))),
        ..Default::default()
    };
    let dispatch = this.quill.registrar.client.send(dispatch);
    let (agreed, left) = this.house.in_line(("transfers", &this.transfer), this.agree(), dispatch).await;
    agreed.unwrap();
    let refused = left.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "{refused:?}");
    this.house.close().await;
}

/// Who waits for a lock has an instant from before it, and meets what was stamped after it.
#[tokio::test(flavor = "multi_thread")]
async fn a_write_with_an_earlier_instant_than_the_receipt_that_was_before_it() {
    let this = Move::dispatched().await;
    let earlier = this.house.clock.now();
    this.house.clock.advance(TimeDelta::minutes(1));
    this.receive().await.unwrap();
    this.house.clock.set(earlier);
    let refused = propose(&this.house, &this.quill, &this.otter.id, "BRA").await.unwrap_err();
    assert_eq!(reason(&refused), "CONTENTION", "{refused:?}");
    this.house.clock.advance(TimeDelta::minutes(1));
    let refused = propose(&this.house, &this.quill, &this.otter.id, "BRA").await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_NOT_HELD_THEN", "{refused:?}");
    this.house.close().await;
}
