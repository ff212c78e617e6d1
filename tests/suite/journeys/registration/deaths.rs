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

#[tokio::test]
async fn of_a_death_nobody_saw_as_much_is_kept_as_is_known() {
    let books = Books::new().await;
    for (name, died_on, found_on) in [
        ("Bramble", Some("2026-02"), "2026-02-20"),
        ("Sedge", Some("2025"), "2026-02-20"),
        ("Teasel", None, "2026-02-20"),
        ("Rush", Some("2026-02-18"), "2026-02-20"),
    ] {
        books.house.otter(&books.park, name).await;
        let death = v1::RecordDeathRequest {
            died_on: died_on.map(|day| day.parse().unwrap()),
            found_on: Some(found_on.parse().unwrap()),
            manner: v1::DeathManner::Unknown.into(),
            ..books.death(name, found_on)
        };
        let dead = books.died(death).await.unwrap();
        let told = dead.death.unwrap();
        assert_eq!(told.died_on.map(|day| day.to_string()).as_deref(), died_on, "{name}");
        assert_eq!(told.found_on.unwrap().to_string(), found_on);
    }
    // The books count what is there: until it was found, unless the day of death is known.
    assert_eq!(books.held(Some("2026-02-17")).await.len(), 4);
    assert_eq!(books.held(Some("2026-02-18")).await.len(), 3);
    assert_eq!(books.held(Some("2026-02-19")).await.len(), 3);
    assert_eq!(books.held(Some("2026-02-20")).await, [""; 0]);
    let refused = books.died(books.death("Bramble", "2026-02-21")).await.unwrap_err();
    assert!(refused.message().contains("was found dead on 2026-02-20"), "{}", refused.message());
    books.house.close().await;
}

#[tokio::test]
async fn days_of_a_death_that_contradict_one_another_are_refused() {
    let books = Books::new().await;
    let bramble = books.arrived(books.arrival("Bramble", "2026-02-10")).await.unwrap();
    let death = |died_on: Option<&str>, found_on: Option<&str>| v1::RecordDeathRequest {
        died_on: died_on.map(|day| day.parse().unwrap()),
        found_on: found_on.map(|day| day.parse().unwrap()),
        ..books.death(&bramble.accession, "2026-02-20")
    };
    for (death, wanted, field) in [
        (death(None, None), "MALFORMED", "found_on"),
        (death(Some("2026-02"), None), "MALFORMED", "found_on"),
        (death(Some("2026-02"), Some("2026-03")), "MALFORMED", "found_on"),
        (death(Some("2026-03"), Some("2026-02-28")), "OUT_OF_ORDER", "found_on"),
        (death(Some("2026-02-20"), Some("2026-02-19")), "OUT_OF_ORDER", "found_on"),
        (death(Some("2026-01"), Some("2026-02-20")), "OUT_OF_ORDER", "died_on"),
        (death(Some("2026-02"), Some("2026-02-09")), "OUT_OF_ORDER", "found_on"),
        (death(None, Some("2026-03-03")), "IN_THE_FUTURE", "found_on"),
        (death(Some("2026-02-20"), Some("2026-03-03")), "IN_THE_FUTURE", "found_on"),
        (
            v1::RecordDeathRequest {
                died_at: Some(timestamp(utc("2026-02-20T09:00:00Z"))),
                ..death(Some("2026-02"), Some("2026-02-20"))
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
    books.house.close().await;
}

#[tokio::test]
async fn what_a_post_mortem_finds_is_told_later_and_the_first_record_stays() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    let examined = |vet: bool, change: fn(&mut v1::RecordPostMortemRequest)| {
        let mut ask = v1::RecordPostMortemRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            animal: "QUI-25-0001".to_owned(),
            because: "report 26/118 came in".to_owned(),
            ..Default::default()
        };
        change(&mut ask);
        let who = if vet { books.park.vet.clone() } else { books.park.registrar.clone() };
        async move {
            let told = who.client.animals().record_post_mortem(ask).await?;
            Ok::<v1::Animal, tonic::Status>(told.into_inner().animal.unwrap())
        }
    };
    let done = |ask: &mut v1::RecordPostMortemRequest| {
        ask.post_mortem = v1::PostMortem::Done.into();
        ask.post_mortem_result = "pneumonia".to_owned();
    };
    let early = examined(true, done).await.unwrap_err();
    assert_eq!((reason(&early).as_str(), fields(&early)), ("OUT_OF_ORDER", vec!["animal".to_owned()]));
    let death = v1::RecordDeathRequest {
        post_mortem: v1::PostMortem::AskedFor.into(),
        ..books.death("Bramble", "2026-02-20")
    };
    let dead = books.died(death).await.unwrap();
    assert_eq!(dead.death.unwrap().post_mortem(), v1::PostMortem::AskedFor);
    books.house.clock.advance(TimeDelta::days(3));
    let told = examined(true, done).await.unwrap().death.unwrap();
    assert_eq!((told.post_mortem(), told.post_mortem_result.as_str()), (v1::PostMortem::Done, "pneumonia"));
    let told = examined(false, |ask| {
        ask.disposal = v1::Disposal::Collection.into();
        ask.disposal_name = "Quill Museum".to_owned();
    });
    let told = told.await.unwrap().death.unwrap();
    assert_eq!((told.disposal(), told.disposal_name.as_str()), (v1::Disposal::Collection, "Quill Museum"));
    assert_eq!(told.post_mortem_result, "pneumonia", "what was not told of stays");
    // As known before the report, it was asked for.
    let get = v1::GetAnimalRequest {
        site: "QUI".to_owned(),
        animal: "QUI-25-0001".to_owned(),
        as_known_at: Some(timestamp(start_of_time() + TimeDelta::days(1))),
        ..Default::default()
    };
    let then = books.park.auditor.client.animals().get_animal(get).await.unwrap().into_inner();
    assert_eq!(then.animal.unwrap().death.unwrap().post_mortem(), v1::PostMortem::AskedFor);
    for (change, field) in [
        ((|_| ()) as fn(&mut v1::RecordPostMortemRequest), "post_mortem"),
        (|ask| ask.post_mortem_result = "pneumonia".to_owned(), "post_mortem_result"),
        (|ask| ask.disposal = v1::Disposal::Collection.into(), "disposal_name"),
        (|ask| ask.disposal_name = "Quill Museum".to_owned(), "disposal"),
        (
            |ask| {
                ask.disposal = v1::Disposal::Buried.into();
                ask.because = String::new();
            },
            "because",
        ),
    ] {
        let refused = examined(false, change).await.unwrap_err();
        assert_eq!(reason(&refused), "MALFORMED");
        assert!(fields(&refused).contains(&field.to_owned()), "{:?} without {field}", fields(&refused));
    }
    books.house.close().await;
}
