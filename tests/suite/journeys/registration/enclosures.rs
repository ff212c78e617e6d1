//! Enclosures, and which animals live in them.

use super::{Books, fields};
use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::house::start_of_time;
use holt_tests::{Park, reason};
use tonic::{Code, Status};

async fn build(books: &Books, park: &Park, name: &str, capacity: i32) -> Result<v1::Enclosure, Status> {
    let request = v1::CreateEnclosureRequest {
        request_id: books.house.request(),
        site: park.code.clone(),
        name: name.to_owned(),
        kind: v1::EnclosureKind::Mixed.into(),
        capacity,
    };
    let built = park.registrar.client.sites().create_enclosure(request).await?;
    Ok(built.into_inner().enclosure.unwrap())
}

async fn place(
    books: &Books,
    animals: &[&str],
    enclosure: &str,
    at: Option<DateTime<Utc>>,
) -> Result<v1::PlaceAnimalsResponse, Status> {
    let request = v1::PlaceAnimalsRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animals: animals.iter().map(|animal| (*animal).to_owned()).collect(),
        enclosure: enclosure.to_owned(),
        placed_at: at.map(timestamp),
    };
    Ok(books.park.keeper.client.placements().place_animals(request).await?.into_inner())
}

/// Names of the enclosures with how many live there.
async fn occupants(books: &Books) -> Vec<(String, i32)> {
    let list = v1::ListEnclosuresRequest { site: "QUI".to_owned() };
    let list = books.park.keeper.client.sites().list_enclosures(list).await.unwrap().into_inner();
    list.enclosures.into_iter().map(|enclosure| (enclosure.name, enclosure.occupants)).collect()
}

async fn three_otters() -> Books {
    let books = Books::new().await;
    for name in ["Bramble", "Sedge", "Teasel"] {
        books.house.otter(&books.park, name).await;
    }
    for (name, capacity) in [("Weir", 2), ("Holt House", 0)] {
        build(&books, &books.park, name, capacity).await.unwrap();
    }
    books
}

#[tokio::test]
async fn a_name_is_unique_at_its_site_in_any_case() {
    let books = Books::new().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    build(&books, &books.park, "Weir", 4).await.unwrap();
    let taken = build(&books, &books.park, "WEIR", 4).await.unwrap_err();
    assert_eq!((taken.code(), reason(&taken).as_str()), (Code::AlreadyExists, "EXISTS"));
    build(&books, &brack, "Weir", 4).await.unwrap();
    let refused = build(&books, &books.park, "", -1).await.unwrap_err();
    assert_eq!(fields(&refused), ["capacity", "name"]);
    books.house.close().await;
}

#[tokio::test]
async fn animals_live_in_one_place_and_too_many_are_told() {
    let books = three_otters().await;
    let placed = place(&books, &["Bramble", "Sedge"], "weir", None).await.unwrap();
    assert_eq!((placed.moved, placed.occupants, placed.over_capacity), (2, 2, false));
    let placed = place(&books, &["Sedge", "Teasel", "QUI-25-0003"], "Weir", None).await.unwrap();
    assert_eq!((placed.moved, placed.occupants, placed.over_capacity), (1, 3, true));
    assert_eq!(occupants(&books).await, [("Holt House".to_owned(), 0), ("Weir".to_owned(), 3)]);
    books.house.clock.advance(TimeDelta::hours(1));
    let placed = place(&books, &["Bramble"], "Holt House", None).await.unwrap();
    assert_eq!((placed.moved, placed.occupants, placed.over_capacity), (1, 1, false));
    assert_eq!(occupants(&books).await, [("Holt House".to_owned(), 1), ("Weir".to_owned(), 2)]);
    assert_eq!(books.get("Bramble").await.unwrap().enclosure, "Holt House");
    let list =
        v1::ListAnimalsRequest { site: "QUI".to_owned(), enclosure: "weir".to_owned(), ..Default::default() };
    let list = books.park.keeper.client.animals().list_animals(list).await.unwrap().into_inner();
    let names: Vec<_> = list.animals.iter().map(|animal| animal.house_name.as_str()).collect();
    assert_eq!(names, ["Sedge", "Teasel"]);
    books.house.close().await;
}

#[tokio::test]
async fn all_move_or_none() {
    let books = three_otters().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    build(&books, &brack, "Brackish Pool", 0).await.unwrap();
    books.house.otter(&brack, "Alder").await;
    books.died(books.death("Teasel", "2026-03-01")).await.unwrap();
    for (animals, enclosure, wanted, field) in [
        (vec!["Bramble", "Nobody"], "Weir", "NOT_FOUND", "animals[1]"),
        (vec!["Bramble", "Alder"], "Weir", "NOT_FOUND", "animals[1]"),
        (vec!["Bramble", "Sedge", "QUI-25-0003"], "Weir", "ANIMAL_DEAD", "animals[2]"),
        (vec!["Bramble"], "Brackish Pool", "NOT_FOUND", ""),
        (vec![], "Weir", "MALFORMED", "animals"),
    ] {
        let refused = place(&books, &animals, enclosure, None).await.unwrap_err();
        assert_eq!(reason(&refused), wanted, "{animals:?} → {enclosure}");
        let named: Vec<&str> = if field.is_empty() { Vec::new() } else { vec![field] };
        assert_eq!(fields(&refused), named, "{animals:?} → {enclosure}");
    }
    assert_eq!(occupants(&books).await, [("Holt House".to_owned(), 0), ("Weir".to_owned(), 0)]);
    books.house.close().await;
}

#[tokio::test]
async fn two_places_at_one_time_are_impossible() {
    let books = three_otters().await;
    let at = |hours: i64| Some(start_of_time() - TimeDelta::hours(hours));
    place(&books, &["Bramble"], "Weir", at(20)).await.unwrap();
    place(&books, &["Bramble"], "Holt House", at(10)).await.unwrap();
    for (when, wanted) in [
        (at(15), "OUT_OF_ORDER"),
        (at(-1), "IN_THE_FUTURE"),
        (Some("2025-02-28T09:00:00Z".parse().unwrap()), "OUT_OF_ORDER"),
    ] {
        let refused = place(&books, &["Bramble"], "Weir", when).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), (wanted, vec!["placed_at".to_owned()]));
    }
    // Two keepers at once: it ends up in one of the two.
    let (one, other) = tokio::join!(
        place(&books, &["Bramble", "Sedge"], "Weir", Some(books.house.clock.now())),
        place(&books, &["Sedge", "Bramble"], "Holt House", Some(books.house.clock.now()))
    );
    assert!(one.is_ok() || other.is_ok(), "{one:?} {other:?}");
    let mut owner = books.house.owner().await;
    let places: Vec<(i64,)> = sqlx::query_as(
        "SELECT count(*) FROM placements WHERE superseded_at IS NULL AND ended_at IS NULL GROUP BY animal_id",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(places, [(1,), (1,)]);
    books.house.close().await;
}
