//! Wrong order, wrong site, wrong animal: each a precise refusal, and nothing changes.

use super::{Move, propose};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, TransferLoss};
use holt_server::clock::Clock;
use holt_tests::reason;
use tonic::Code;

#[tokio::test]
async fn steps_out_of_order() {
    let this = Move::proposed().await;
    let refused = this.receive().await.unwrap_err();
    assert_eq!(
        (refused.code(), reason(&refused).as_str()),
        (Code::FailedPrecondition, "TRANSFER_WRONG_STATE")
    );
    assert_eq!(refused.message(), "it cannot be received: the transfer is proposed and not yet agreed");
    assert_eq!(reason(&this.dispatch().await.unwrap_err()), "TRANSFER_WRONG_STATE");
    assert_eq!(
        reason(&this.lose(&this.quill, TransferLoss::Death).await.unwrap_err()),
        "TRANSFER_WRONG_STATE"
    );

    this.agree().await.unwrap();
    assert_eq!(reason(&this.agree().await.unwrap_err()), "TRANSFER_WRONG_STATE");
    assert_eq!(reason(&this.receive().await.unwrap_err()), "TRANSFER_WRONG_STATE");

    this.dispatch().await.unwrap();
    assert_eq!(reason(&this.dispatch().await.unwrap_err()), "TRANSFER_WRONG_STATE");
    assert_eq!(reason(&this.refuse().await.unwrap_err()), "TRANSFER_WRONG_STATE");

    this.receive().await.unwrap();
    for refused in [
        this.receive().await.unwrap_err(),
        this.cancel().await.unwrap_err(),
        this.dispatch().await.unwrap_err(),
        this.lose(&this.brack, TransferLoss::Escape).await.unwrap_err(),
    ] {
        assert_eq!(reason(&refused), "TRANSFER_WRONG_STATE");
        assert!(refused.message().ends_with("the transfer is already received"), "{}", refused.message());
    }
    this.house.close().await;
}

#[tokio::test]
async fn steps_of_the_other_site() {
    let this = Move::agreed().await;
    let by_sender = v1::ReceiveTransferRequest { ..this.receipt() };
    let refused = this.quill.registrar.client.transfers().receive_transfer(by_sender).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::PermissionDenied, "TRANSFER_OTHER_SITE"));
    assert_eq!(refused.message(), "only BRA can record that the transfer is received");
    let by_receiver = v1::DispatchTransferRequest {
        request_id: this.house.request(),
        transfer_id: this.transfer.clone(),
        ..Default::default()
    };
    let refused = this.brack.registrar.client.transfers().dispatch_transfer(by_receiver).await.unwrap_err();
    assert_eq!(reason(&refused), "TRANSFER_OTHER_SITE");

    // To a third site there is no such transfer.
    let corrie = this.house.park("COR", "UTC").await;
    let get = v1::GetTransferRequest { transfer_id: this.transfer.clone(), as_known_at: None };
    let hidden = corrie.registrar.client.transfers().get_transfer(get).await.unwrap_err();
    assert_eq!((hidden.code(), reason(&hidden).as_str()), (Code::NotFound, "NOT_FOUND"));
    let receive = this.receipt();
    let hidden = corrie.registrar.client.transfers().receive_transfer(receive).await.unwrap_err();
    assert_eq!(hidden.code(), Code::NotFound);
    this.house.close().await;
}

#[tokio::test]
async fn animals_that_cannot_move() {
    let this = Move::proposed().await;
    let refused = propose(&this.house, &this.quill, "Bramble", "BRA").await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_ON_THE_MOVE");
    assert_eq!(
        refused.message(),
        "Bramble (QUI-25-0001) is on a transfer that is proposed and not yet agreed"
    );
    let refused = propose(&this.house, &this.quill, "Nobody", "BRA").await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let refused = propose(&this.house, &this.quill, "Bramble", "QUI").await.unwrap_err();
    assert_eq!(reason(&refused), "TRANSFER_SAME_SITE");
    let refused = propose(&this.house, &this.quill, "Bramble", "ZZZ").await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let refused = propose(&this.house, &this.brack, &this.otter.id, "QUI").await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND", "before it agrees, the destination sees no animal");

    let sedge = this.house.otter(&this.quill, "Sedge").await;
    let death = v1::RecordDeathRequest {
        request_id: this.house.request(),
        site: "QUI".into(),
        animal: "Sedge".into(),
        died_on: Some("2026-03-01".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    this.quill.registrar.client.animals().record_death(death).await.unwrap();
    let refused = propose(&this.house, &this.quill, &sedge.id, "BRA").await.unwrap_err();
    assert_eq!(
        (reason(&refused).as_str(), refused.message()),
        ("ANIMAL_DEAD", "Sedge (QUI-25-0002) died on 2026-03-01")
    );
    this.house.close().await;
}

#[tokio::test]
async fn an_animal_of_somebody_else() {
    let this = Move::received().await;
    let refused = propose(&this.house, &this.quill, &this.otter.id, "BRA").await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_NOT_HELD_THEN");
    assert_eq!(refused.message(), "QUI does not hold Bramble (QUI-25-0001): it went to BRA");
    this.house.close().await;
}

#[tokio::test]
async fn times_that_cannot_be() {
    let this = Move::dispatched().await;
    let mut client = this.brack.registrar.client.transfers();
    let at = |at| v1::ReceiveTransferRequest { received_at: Some(timestamp(at)), ..this.receipt() };
    let now = this.house.clock.now();
    let future = client.receive_transfer(at(now + TimeDelta::hours(1))).await.unwrap_err();
    assert_eq!(reason(&future), "IN_THE_FUTURE");
    let before = client.receive_transfer(at(now - TimeDelta::days(1))).await.unwrap_err();
    assert_eq!(reason(&before), "OUT_OF_ORDER");
    let past = v1::ProposeTransferRequest {
        request_id: this.house.request(),
        site: "QUI".into(),
        animal: this.house.otter(&this.quill, "Sedge").await.id,
        to_site: "BRA".into(),
        terms: v1::TransferTerms::TitlePasses.into(),
        planned_on: Some("2026-03-01".parse().unwrap()),
        why: "x".into(),
        ..Default::default()
    };
    let past = this.quill.registrar.client.transfers().propose_transfer(past).await.unwrap_err();
    assert_eq!(reason(&past), "OUT_OF_ORDER");
    this.house.close().await;
}

#[tokio::test]
async fn a_step_on_a_stale_view() {
    let this = Move::proposed().await;
    let stale = |version| v1::AgreeTransferRequest {
        request_id: this.house.request(),
        transfer_id: this.transfer.clone(),
        version,
        ..Default::default()
    };
    let mut client = this.brack.registrar.client.transfers();
    let refused = client.agree_transfer(stale(7)).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::Aborted, "VERSION_PASSED"));
    client.agree_transfer(stale(1)).await.unwrap();
    this.house.close().await;
}

#[tokio::test]
async fn a_withheld_move_is_not_dispatched_until_it_is_released() {
    let this = Move::agreed().await;
    let withheld = this.withhold(&this.brack).await.unwrap();
    assert!(withheld.withheld);
    assert_eq!(withheld.missing, ["no day is planned", "a veterinary surgeon withholds it"]);
    assert_eq!(reason(&this.dispatch().await.unwrap_err()), "TRANSFER_WITHHELD");
    assert_eq!(reason(&this.withhold(&this.quill).await.unwrap_err()), "TRANSFER_WRONG_STATE");
    assert_eq!(reason(&this.release(&this.quill).await.unwrap_err()), "TRANSFER_WITHHELD");
    let by_registrar = v1::ReleaseTransferRequest {
        request_id: this.house.request(),
        transfer_id: this.transfer.clone(),
        ..Default::default()
    };
    let refused = this.brack.registrar.client.transfers().release_transfer(by_registrar).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED");
    assert!(!this.release(&this.brack).await.unwrap().withheld);
    this.dispatch().await.unwrap();
    this.house.close().await;
}

#[tokio::test]
async fn after_an_end_the_animal_can_be_offered_anew() {
    let this = Move::agreed().await;
    this.refuse().await.unwrap();
    let again = propose(&this.house, &this.quill, "Bramble", "BRA").await.unwrap();
    let this = Move { transfer: again.id, ..this };
    this.cancel().await.unwrap();
    let again = propose(&this.house, &this.quill, "Bramble", "BRA").await.unwrap();
    let this = Move { transfer: again.id, ..this };
    this.agree().await.unwrap();
    this.dispatch().await.unwrap();
    // Turned back: the sender held it all the time.
    this.cancel().await.unwrap();
    assert_eq!(this.seen_by(&this.quill).await.unwrap().holder, "QUI");
    this.house.close().await;
}
