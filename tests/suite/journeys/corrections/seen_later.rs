//! A death before what was seen of the animal later is refused, and told with what was seen; recorded or corrected.

use super::Books;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::reason;
use tonic::Status;

/// Does one thing with Bramble, now.
async fn happen(books: &Books, what: &str) {
    let (house, registrar) = (&books.house, &books.quill.registrar.client);
    let (site, animal) = ("QUI".to_owned(), books.bramble.id.clone());
    let (request_id, now) = (house.request(), house.clock.now());
    match what {
        "was weighed" | "declined the scale" => {
            let mut round = house.round("QUI", &[(&animal, now, 8000)]);
            if what != "was weighed" {
                round.readings[0].result = Some(v1::reading::Result::Tried(v1::Tried {}));
            }
            books.quill.keeper.client.weights().record_weights(round).await.unwrap();
        }
        "was assessed" => {
            let assessment = house.assessment("QUI", &animal, &[("body-condition", "right")]);
            books.quill.keeper.client.assessments().record_assessment(assessment).await.unwrap();
        }
        "was moved to an enclosure" => {
            let (animals, enclosure) = (vec![animal], "Weir".to_owned());
            let place = v1::PlaceAnimalsRequest { request_id, site, animals, enclosure, placed_at: None };
            registrar.placements().place_animals(place).await.unwrap();
        }
        "joined a group" => {
            let join = v1::JoinGroupRequest {
                request_id,
                site,
                group: "Weir family".to_owned(),
                animals: vec![animal],
                role: v1::GroupRole::Breeding.into(),
                joined_at: None,
            };
            registrar.groups().join_group(join).await.unwrap();
        }
        "was marked" => {
            let mark = v1::NewMark {
                kind: v1::MarkKind::Ring.into(),
                code: "Q-77".to_owned(),
                place_on_body: "left hind leg".to_owned(),
            };
            let apply = v1::ApplyMarkRequest { request_id, site, animal, mark: Some(mark), applied_at: None };
            registrar.marks().apply_mark(apply).await.unwrap();
        }
        "passed to another owner" => {
            let pass = v1::PassTitleRequest {
                request_id,
                site,
                animal,
                to: "Fenwater Collection".to_owned(),
                because: "given".to_owned(),
                ..Default::default()
            };
            registrar.titles().pass_title(pass).await.unwrap();
        }
        "met the public" => {
            let record = v1::RecordEncounterRequest {
                request_id,
                site,
                kind: v1::EncounterKind::Talk.into(),
                began_at: Some(timestamp(now - TimeDelta::minutes(20))),
                ended_at: Some(timestamp(now)),
                animals: vec![animal],
                ..Default::default()
            };
            books.quill.keeper.client.encounters().record_encounter(record).await.unwrap();
        }
        other => panic!("{other}"),
    }
}

async fn die(books: &Books, on: &str) -> Result<(), Status> {
    let death = v1::RecordDeathRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: books.bramble.id.clone(),
        died_on: Some(on.parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    books.quill.registrar.client.animals().record_death(death).await.map(|_| ())
}

#[tokio::test]
async fn a_death_before_what_was_seen_later_is_refused_and_names_it() {
    for what in [
        "was weighed",
        "declined the scale",
        "was assessed",
        "was moved to an enclosure",
        "joined a group",
        "was marked",
        "passed to another owner",
        "met the public",
    ] {
        let books = Books::new().await;
        books.house.load_protocol(&books.house.steward().await).await;
        books.house.enclosure(&books.quill, "Weir").await;
        let create = v1::CreateGroupRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            name: "Weir family".to_owned(),
            note: String::new(),
        };
        books.quill.registrar.client.groups().create_group(create).await.unwrap();
        books.house.clock.advance(TimeDelta::days(4));
        happen(&books, what).await;
        books.house.clock.advance(TimeDelta::days(1));
        let told = |refused: Status| {
            assert_eq!(reason(&refused), "OUT_OF_ORDER", "{what}: {refused:?}");
            assert!(refused.message().contains(&format!("{what} at 2026-03-06")), "{refused:?}");
        };
        told(die(&books, "2026-03-05").await.unwrap_err());
        die(&books, "2026-03-07").await.unwrap();
        let death = books.fact(&books.bramble.id, FactKind::Death).await.id;
        let on = |day: &str| v1::FactChange { happened_on: Some(day.parse().unwrap()), ..Default::default() };
        told(books.correct(&death, on("2026-03-04")).await.unwrap_err());
        // On that day it may have died afterwards.
        books.correct(&death, on("2026-03-06")).await.unwrap();
        books.house.close().await;
    }
}
