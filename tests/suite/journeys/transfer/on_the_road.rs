//! An animal that was dispatched and has not arrived is with nobody who could weigh, watch or move it.

use super::Move;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, ErrorReason, ReadingOutcome};
use holt_server::clock::Clock;
use holt_tests::reason;

#[tokio::test]
async fn the_sender_records_nothing_of_it_from_then_on_and_all_from_before() {
    let this = Move::agreed().await;
    let (house, quill) = (&this.house, &this.quill);
    for name in ["Weir", "Holt bank"] {
        house.enclosure(quill, name).await;
    }
    house.load_protocol(&house.steward().await).await;
    house.clock.advance(TimeDelta::hours(2));
    let left = house.clock.now();
    this.dispatch().await.unwrap();
    house.clock.advance(TimeDelta::hours(3));
    let now = house.clock.now();
    let keeper = &quill.keeper.client;

    let before = left - TimeDelta::hours(1);
    let round = house.round("QUI", &[("Bramble", now, 8_000), ("Bramble", before, 8_010)]);
    let answers = keeper.weights().record_weights(round).await.unwrap().into_inner().answers;
    let refusal = answers[0].refusal.as_ref().unwrap();
    assert_eq!(refusal.reason(), ErrorReason::AnimalOnTheMove, "{refusal:?}");
    assert!(refusal.say.contains("on the way"), "{refusal:?}");
    assert_eq!(answers[1].outcome(), ReadingOutcome::Accepted, "{answers:?}");

    let assessment = v1::RecordAssessmentRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        protocol: "otter-watch".to_owned(),
        findings: vec![v1::Finding {
            indicator: "body-condition".to_owned(),
            confidence: v1::Confidence::High.into(),
            found: Some(v1::finding::Found::Level("thin".to_owned())),
            ..Default::default()
        }],
        ..Default::default()
    };
    let refused = keeper.assessments().record_assessment(assessment).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_ON_THE_MOVE", "{refused:?}");

    let place = v1::PlaceAnimalsRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animals: vec!["Bramble".to_owned()],
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    let refused = keeper.placements().place_animals(place).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_ON_THE_MOVE", "{refused:?}");

    let encounter = v1::RecordEncounterRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        kind: v1::EncounterKind::Talk.into(),
        began_at: Some(timestamp(now - TimeDelta::minutes(20))),
        ended_at: Some(timestamp(now)),
        animals: vec!["Bramble".to_owned()],
        ..Default::default()
    };
    let refused = keeper.encounters().record_encounter(encounter).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_ON_THE_MOVE", "{refused:?}");

    // So a receipt of any time since then leaves no reading where nobody was who could take it.
    let receipt = v1::ReceiveTransferRequest {
        received_at: Some(timestamp(left + TimeDelta::hours(1))),
        ..this.receipt()
    };
    this.brack.registrar.client.transfers().receive_transfer(receipt).await.unwrap();
    this.house.close().await;
}

#[tokio::test]
async fn what_was_turned_back_was_there_all_the_time() {
    let this = Move::dispatched().await;
    this.house.clock.advance(TimeDelta::hours(3));
    let then = this.house.clock.now();
    this.house.clock.advance(TimeDelta::hours(1));
    this.cancel().await.unwrap();
    let round = this.house.round("QUI", &[("Bramble", then, 8_000)]);
    let answers =
        this.quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner().answers;
    assert_eq!(answers[0].outcome(), ReadingOutcome::Accepted, "{answers:?}");
    this.house.close().await;
}

/// Its group moves without it.
#[tokio::test]
async fn a_group_moves_without_one_that_is_on_the_road() {
    let this = Move::agreed().await;
    let (house, quill) = (&this.house, &this.quill);
    house.otter(quill, "Sedge").await;
    for name in ["Weir", "Holt bank"] {
        house.enclosure(quill, name).await;
    }
    let group = v1::CreateGroupRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        ..Default::default()
    };
    quill.keeper.client.groups().create_group(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec!["Bramble".to_owned(), "Sedge".to_owned()],
        role: v1::GroupRole::Member.into(),
        ..Default::default()
    };
    quill.keeper.client.groups().join_group(join).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    this.dispatch().await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let moving = v1::MoveGroupRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        enclosure: "Weir".to_owned(),
        moved_at: None,
    };
    let moved = quill.keeper.client.groups().move_group(moving).await.unwrap().into_inner();
    assert_eq!((moved.moved, moved.occupants), (1, 1), "{moved:?}");
    this.receive().await.unwrap();
    this.house.close().await;
}

/// What it was seen with on the way is not lost by a receipt that is said to be earlier.
#[tokio::test]
async fn a_receipt_before_what_was_seen_of_it_is_refused() {
    let this = Move::dispatched().await;
    let house = &this.house;
    house.clock.advance(TimeDelta::hours(3));
    let seen = house.clock.now();
    let ring = v1::NewMark {
        kind: v1::MarkKind::Ring.into(),
        code: "Q-77".to_owned(),
        place_on_body: "left hind leg".to_owned(),
    };
    let apply = v1::ApplyMarkRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        mark: Some(ring),
        applied_at: None,
    };
    this.quill.registrar.client.marks().apply_mark(apply).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let receipt = v1::ReceiveTransferRequest {
        received_at: Some(timestamp(seen - TimeDelta::hours(1))),
        ..this.receipt()
    };
    let refused = this.brack.registrar.client.transfers().receive_transfer(receipt).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "{refused:?}");
    assert!(refused.message().contains("was marked"), "{refused:?}");
    this.receive().await.unwrap();
    this.house.close().await;
}
