//! Deaths: what ends with an animal, and what is refused.

use super::{Books, fields};
use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, AnimalStatus, MarkKind};
use holt_tests::house::start_of_time;
use holt_tests::reason;
use tonic::Code;

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

#[tokio::test]
async fn with_its_death_end_holding_place_marks_and_title() {
    let books = Books::new().await;
    books.house.enclosure(&books.park, "Weir").await;
    let arrival =
        v1::RegisterArrivalRequest { enclosure: "Weir".to_owned(), ..books.arrival("Bramble", "2025-03-01") };
    books.arrived(arrival).await.unwrap();
    let ring = v1::ApplyMarkRequest {
        applied_at: Some(timestamp(utc("2025-04-01T09:00:00Z"))),
        ..books.mark("Bramble", MarkKind::Ring, "Q-17")
    };
    books.marked(ring).await.unwrap();
    let dead = books.died(books.death("Bramble", "2026-02-20")).await.unwrap();
    assert_eq!((dead.status(), dead.holder.as_str(), dead.owner.as_str()), (AnimalStatus::Dead, "", ""));
    assert_eq!((dead.enclosure.as_str(), dead.marks.len(), dead.held_since), ("", 0, None));
    assert_eq!(dead.house_name, "Bramble", "it keeps its name in people's mouths");
    assert_eq!(books.held(None).await, [""; 0]);
    // The day only is known: on that day it still was.
    assert_eq!(books.held(Some("2026-02-19")).await, ["QUI-25-0001"]);
    assert_eq!(books.held(Some("2026-02-20")).await, [""; 0]);
    let list = v1::ListEnclosuresRequest { site: "QUI".to_owned() };
    let list = books.park.keeper.client.sites().list_enclosures(list).await.unwrap().into_inner();
    assert_eq!(list.enclosures[0].occupants, 0);
    // The number of the ring can be given again from then on.
    books.house.otter(&books.park, "Sedge").await;
    books.marked(books.mark("Sedge", MarkKind::Ring, "Q-17")).await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn an_animal_dies_once() {
    let books = Books::new().await;
    let bramble = books.house.otter(&books.park, "Bramble").await;
    books.died(books.death("Bramble", "2026-02-20")).await.unwrap();
    let refused = books.died(books.death(&bramble.accession, "2026-02-21")).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "ANIMAL_DEAD"));
    assert!(refused.message().contains("2026-02-20"), "{}", refused.message());
    let departure = books.departure(&bramble.accession, "2026-02-22");
    assert_eq!(reason(&books.departed(departure).await.unwrap_err()), "ANIMAL_DEAD");
    books.house.close().await;
}

#[tokio::test]
async fn a_death_lies_after_all_that_is_on_record_and_not_ahead() {
    let books = Books::new().await;
    let bramble = books.house.otter(&books.park, "Bramble").await;
    let weighed = utc("2026-02-27T09:00:00Z");
    let round = books.house.round("QUI", &[("Bramble", weighed, 8000)]);
    books.park.keeper.client.weights().record_weights(round).await.unwrap();
    let at = |text: &str| Some(timestamp(utc(text)));
    for (death, wanted, field) in [
        (books.death("Bramble", "2026-03-03"), "IN_THE_FUTURE", "died_on"),
        (
            v1::RecordDeathRequest {
                died_at: Some(timestamp(start_of_time() + TimeDelta::hours(1))),
                ..books.death("Bramble", "2026-03-02")
            },
            "IN_THE_FUTURE",
            "died_at",
        ),
        (books.death(&bramble.accession, "2025-02-28"), "OUT_OF_ORDER", "died_on"),
        (books.death("Bramble", "2026-02-26"), "OUT_OF_ORDER", "died_on"),
        (
            v1::RecordDeathRequest {
                died_at: at("2026-02-27T08:59:00Z"),
                ..books.death("Bramble", "2026-02-27")
            },
            "OUT_OF_ORDER",
            "died_at",
        ),
        (
            v1::RecordDeathRequest {
                died_at: at("2026-02-28T08:59:00Z"),
                ..books.death("Bramble", "2026-02-27")
            },
            "MALFORMED",
            "died_at",
        ),
    ] {
        let refused = books.died(death.clone()).await.unwrap_err();
        assert_eq!(
            (reason(&refused).as_str(), fields(&refused)),
            (wanted, vec![field.to_owned()]),
            "{death:?}"
        );
    }
    // The day of the last weighing is a day it can have died on.
    books.died(books.death("Bramble", "2026-02-27")).await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn a_death_calls_off_a_move_that_has_not_begun() {
    let books = Books::new().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    books.house.otter(&books.park, "Bramble").await;
    let transfer = books.propose("Bramble", "BRA").await;
    books.died(books.death("Bramble", "2026-03-02")).await.unwrap();
    let get = v1::GetTransferRequest { transfer_id: transfer.id, as_known_at: None };
    let told = brack.registrar.client.transfers().get_transfer(get).await.unwrap().into_inner();
    let told = told.transfer.unwrap();
    assert_eq!(told.state(), v1::TransferState::Cancelled);
    assert_eq!(told.steps.last().unwrap().note, "the animal died");
    books.house.close().await;
}

#[tokio::test]
async fn on_the_way_a_death_is_a_step_of_the_transfer() {
    let books = Books::new().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    books.house.otter(&books.park, "Bramble").await;
    let transfer_id = books.propose("Bramble", "BRA").await.id;
    let agree = v1::AgreeTransferRequest {
        request_id: books.house.request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: books.house.request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    books.park.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
    let refused = books.died(books.death("Bramble", "2026-03-02")).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "ANIMAL_ON_THE_MOVE"));
    use tonic_types::StatusExt;
    let info = refused.get_details_error_info().unwrap();
    assert_eq!(
        (&info.metadata["transfer_id"], info.metadata["state"].as_str()),
        (&transfer_id, "DISPATCHED")
    );
    books.house.close().await;
}

#[tokio::test]
async fn tried_first_it_lives() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    let death = v1::RecordDeathRequest { validate_only: true, ..books.death("Bramble", "2026-03-02") };
    assert_eq!(books.died(death).await.unwrap().status(), AnimalStatus::Dead);
    assert_eq!(books.get("Bramble").await.unwrap().status(), AnimalStatus::Held);
    books.house.close().await;
}
