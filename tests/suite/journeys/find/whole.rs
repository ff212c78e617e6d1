//! What is in hand is the whole of it.

use super::{Shelf, found, new};
use holt_proto::v1::{self, AnimalStatus, FoundBy, MarkKind, Nearness};
use holt_tests::reason;
use tonic::Code;

#[tokio::test]
async fn an_animal_is_found_by_all_that_it_goes_by() {
    let shelf = Shelf::new().await;
    let marks = [
        (MarkKind::Transponder, "985112000123456"),
        (MarkKind::Ring, "Q-17"),
        (MarkKind::Tattoo, "B7X"),
        (MarkKind::FormerNumber, "MAM/0031"),
    ];
    let bramble = shelf.otter("Bramble", &marks).await;
    shelf.otter("Sedge", &[]).await;
    for (text, by, kind, shown) in [
        (bramble.id.as_str(), FoundBy::Id, MarkKind::Unspecified, bramble.id.as_str()),
        ("qui-25-0001", FoundBy::Accession, MarkKind::Unspecified, "QUI-25-0001"),
        ("985112000123456", FoundBy::Mark, MarkKind::Transponder, "985112000123456"),
        ("985 11 2000 123456", FoundBy::Mark, MarkKind::Transponder, "985112000123456"),
        ("q-17", FoundBy::Mark, MarkKind::Ring, "Q-17"),
        ("b7x", FoundBy::Mark, MarkKind::Tattoo, "B7X"),
        ("mam/0031", FoundBy::Mark, MarkKind::FormerNumber, "MAM/0031"),
        ("BRAMBLE", FoundBy::Mark, MarkKind::HouseName, "Bramble"),
    ] {
        let matches = shelf.found(text).await;
        let [only] = matches.as_slice() else { panic!("{text}: {matches:?}") };
        assert_eq!(only.animal.as_ref().unwrap().id, bramble.id, "{text}");
        assert_eq!((only.found_by(), only.mark_kind(), only.text.as_str()), (by, kind, shown), "{text}");
        assert_eq!((only.nearness(), only.in_force), (Nearness::Whole, true), "{text}");
    }
    assert!(shelf.found("Bracken").await.is_empty());
    shelf.house.close().await;
}

#[tokio::test]
async fn it_is_told_where_the_animal_is_now() {
    let shelf = Shelf::new().await;
    for name in ["Bramble", "Sedge", "Rush"] {
        shelf.otter(name, &[]).await;
    }
    let (registrar, site) = (&shelf.park.registrar.client, "QUI".to_owned());
    let place = v1::PlaceAnimalsRequest {
        request_id: shelf.house.request(),
        site: site.clone(),
        animals: vec!["Bramble".to_owned()],
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    registrar.placements().place_animals(place).await.unwrap();
    let departure = v1::RecordDepartureRequest {
        request_id: shelf.house.request(),
        site: site.clone(),
        animal: "Sedge".to_owned(),
        departed_on: Some("2026-03-01".parse().unwrap()),
        destination: v1::DepartureDestination::Collection.into(),
        destination_name: "Fenwater Collection".to_owned(),
        ..Default::default()
    };
    registrar.animals().record_departure(departure).await.unwrap();
    let death = v1::RecordDeathRequest {
        request_id: shelf.house.request(),
        site,
        animal: "Rush".to_owned(),
        died_on: Some("2026-03-01".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    registrar.animals().record_death(death).await.unwrap();
    for (name, status, holder, enclosure, went_to) in [
        ("Bramble", AnimalStatus::Held, "QUI", "Weir", ""),
        ("Sedge", AnimalStatus::Departed, "", "", "Fenwater Collection"),
        ("Rush", AnimalStatus::Dead, "", "", ""),
    ] {
        let animal = shelf.found(name).await.remove(0).animal.unwrap();
        assert_eq!((animal.status(), animal.holder.as_str()), (status, holder), "{name}");
        assert_eq!((animal.enclosure.as_str(), animal.went_to.as_str()), (enclosure, went_to), "{name}");
    }
    shelf.house.close().await;
}

#[tokio::test]
async fn a_record_that_was_given_up_leads_to_the_animal() {
    let shelf = Shelf::new().await;
    let keep = shelf.otter("Bramble", &[]).await;
    let gone = shelf.otter("Briar", &[]).await;
    let merge = v1::MergeAnimalsRequest {
        request_id: shelf.house.request(),
        site: "QUI".to_owned(),
        keep: "Bramble".to_owned(),
        give_up: "Briar".to_owned(),
        because: "the same scars".to_owned(),
        ..Default::default()
    };
    shelf.park.registrar.client.merges().merge_animals(merge).await.unwrap();
    for text in [gone.id.as_str(), "Briar", gone.accession.as_str()] {
        let matches = shelf.found(text).await;
        assert_eq!(matches.len(), 1, "{text}");
        assert_eq!(matches[0].animal.as_ref().unwrap().id, keep.id, "{text}");
    }
    shelf.house.close().await;
}

#[tokio::test]
async fn what_cannot_be_looked_for_is_refused() {
    let shelf = Shelf::new().await;
    for (text, most, field) in [("b", 0, "text"), (" b ", 0, "text"), ("bramble", 101, "most")] {
        let ask = v1::FindAnimalsRequest { text: text.to_owned(), most };
        let refused = shelf.park.keeper.client.find().find_animals(ask).await.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
        assert!(refused.message().starts_with(field), "{}", refused.message());
    }
    shelf.house.close().await;
}

/// A transponder on two living animals is refused, and said to be on which: unless that animal is none of
/// the caller's business.
#[tokio::test]
async fn a_transponder_is_on_one_living_animal_at_a_time() {
    const CODE: &str = "985112000123456";
    let shelf = Shelf::new().await;
    shelf.otter("Bramble", &[(MarkKind::Transponder, CODE)]).await;
    let sedge = shelf.otter("Sedge", &[(MarkKind::Transponder, "985112000777001")]).await;
    let there = shelf.house.park("BRA", "America/Halifax").await;
    let fern = shelf.house.otter(&there, "Fern").await;
    let apply = |site: &str, animal: &str| v1::ApplyMarkRequest {
        request_id: shelf.house.request(),
        site: site.to_owned(),
        animal: animal.to_owned(),
        mark: Some(new(MarkKind::Transponder, CODE)),
        applied_at: None,
    };
    let replace = v1::ReplaceMarkRequest {
        request_id: shelf.house.request(),
        site: "QUI".to_owned(),
        animal: "Sedge".to_owned(),
        mark_id: found(&shelf.park.keeper, "777001").await.unwrap()[0].animal.as_ref().unwrap().marks[1]
            .id
            .clone(),
        mark: Some(new(MarkKind::Transponder, CODE)),
        replaced_at: None,
        why: "worn".to_owned(),
    };
    let registrar = &shelf.park.registrar.client;
    let refused = [
        registrar.marks().apply_mark(apply("QUI", &sedge.id)).await.unwrap_err(),
        registrar.marks().replace_mark(replace).await.unwrap_err(),
    ];
    for refused in refused {
        assert_eq!(reason(&refused), "TRANSPONDER_IN_USE");
        assert!(refused.message().ends_with("is in force on Bramble (QUI-25-0001)"), "{}", refused.message());
    }
    let refused = there.registrar.client.marks().apply_mark(apply("BRA", &fern.id)).await.unwrap_err();
    assert_eq!(reason(&refused), "TRANSPONDER_IN_USE");
    assert!(!refused.message().contains("Bramble"), "{}", refused.message());
    shelf.house.close().await;
}
