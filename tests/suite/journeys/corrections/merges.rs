//! Two records are found to be of one animal, or not after all.

use super::Books;
use chrono::TimeDelta;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::reason;
use prost::Message;
use tonic::{Code, Status};

async fn merge(books: &Books, keep: &str, give_up: &str) -> Result<v1::MergeAnimalsResponse, Status> {
    let ask = v1::MergeAnimalsRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        keep: keep.to_owned(),
        give_up: give_up.to_owned(),
        because: "the same scars".to_owned(),
        ..Default::default()
    };
    Ok(books.quill.registrar.client.merges().merge_animals(ask).await?.into_inner())
}

async fn unmerge(books: &Books, merge: &str) -> Result<v1::UnmergeAnimalsResponse, Status> {
    let ask = v1::UnmergeAnimalsRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: books.bramble.id.clone(),
        merge_id: merge.to_owned(),
        because: "other scars".to_owned(),
        ..Default::default()
    };
    Ok(books.quill.registrar.client.merges().unmerge_animals(ask).await?.into_inner())
}

#[tokio::test]
async fn neither_history_is_lost_and_every_name_still_leads_to_the_animal() {
    let books = Books::new().await;
    books.weigh("Bramble", 8_000).await;
    books.weigh("Sedge", 8_010).await;
    let before = books.house.clock.now();
    let known = books.history(&books.sedge.id, Some(before)).await;

    let merged = merge(&books, "Bramble", "Sedge").await.unwrap();
    assert_eq!(merged.animal.as_ref().unwrap().id, books.bramble.id);
    assert_eq!(books.facts("Bramble", FactKind::Weight).await.len(), 2);
    assert_eq!(books.fact("Bramble", FactKind::Merge).await.id, merged.merge_id);
    for name in [books.sedge.id.as_str(), books.sedge.accession.as_str(), "Sedge"] {
        assert_eq!(books.see(name).await.id, books.bramble.id, "{name}");
    }
    let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    let held = books.quill.auditor.client.animals().list_animals(list).await.unwrap().into_inner().animals;
    assert_eq!(held.len(), 1, "it is counted once");
    let then = books.history(&books.sedge.id, Some(before)).await;
    assert_eq!(then.encode_to_vec(), known.encode_to_vec());
    books.house.close().await;
}

#[tokio::test]
async fn a_merge_is_taken_back_and_what_was_recorded_since_stays() {
    let books = Books::new().await;
    books.weigh("Sedge", 8_010).await;
    let before = books.history("Sedge", None).await;
    let merged = merge(&books, "Bramble", "Sedge").await.unwrap();
    books.weigh("Sedge", 8_100).await;
    let answer = unmerge(&books, &merged.merge_id).await.unwrap();
    assert_eq!(answer.given_up.unwrap().id, books.sedge.id);
    let words = |history: v1::GetHistoryResponse| -> Vec<String> {
        history.facts.into_iter().map(|fact| fact.say).collect()
    };
    assert_eq!(words(books.history("Sedge", None).await), words(before));
    assert_eq!(books.fact("Bramble", FactKind::Weight).await.say, "8.1 kg");
    assert_eq!(reason(&unmerge(&books, &merged.merge_id).await.unwrap_err()), "NOT_FOUND");
    books.house.close().await;
}

#[tokio::test]
async fn what_contradicts_is_told_all_at_once_and_nothing_is_moved() {
    let books = Books::new().await;
    for name in ["Weir", "Pool"] {
        books.house.enclosure(&books.quill, name).await;
    }
    books.house.clock.advance(TimeDelta::hours(1));
    let at = books.house.clock.now();
    let round = books.house.round("QUI", &[("Bramble", at, 8_000), ("Sedge", at, 7_000)]);
    books.quill.keeper.client.weights().record_weights(round).await.unwrap();
    for (animal, enclosure) in [("Bramble", "Weir"), ("Sedge", "Pool")] {
        let place = v1::PlaceAnimalsRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            animals: vec![animal.to_owned()],
            enclosure: enclosure.to_owned(),
            placed_at: None,
        };
        books.quill.keeper.client.placements().place_animals(place).await.unwrap();
    }
    let refused = merge(&books, "Bramble", "Sedge").await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "MERGE_CONFLICT"));
    assert!(refused.message().contains("two places"), "{}", refused.message());
    assert!(refused.message().contains("weighed differently"), "{}", refused.message());
    assert_eq!(books.see("Sedge").await.id, books.sedge.id);
    let same = merge(&books, "Bramble", "Bramble").await.unwrap_err();
    assert_eq!(reason(&same), "MERGE_CONFLICT");
    books.house.close().await;
}

#[tokio::test]
async fn a_merge_that_was_built_upon_is_not_taken_back() {
    let books = Books::new().await;
    books.weigh("Sedge", 8_010).await;
    let merged = merge(&books, "Bramble", "Sedge").await.unwrap();
    let weight = books.fact("Bramble", FactKind::Weight).await.id;
    books.correct(&weight, super::mass(8_020)).await.unwrap();
    assert_eq!(reason(&unmerge(&books, &merged.merge_id).await.unwrap_err()), "MERGE_CONFLICT");
    books.house.close().await;
}

#[tokio::test]
async fn what_another_site_recorded_is_not_moved_without_its_registrar() {
    let books = Books::new().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    let arrival = books.house.arrival(&brack, "Bracken", "2025-06-01".parse().unwrap());
    let other = brack.registrar.client.animals().register_arrival(arrival).await.unwrap();
    let other = other.into_inner().animal.unwrap().id;
    // To Quill, there is no such animal.
    assert_eq!(reason(&merge(&books, "Bramble", &other).await.unwrap_err()), "NOT_FOUND");
    books.house.close().await;
}

/// Three young of today, of a dam where one is named.
async fn litter(books: &Books, dam: &str) -> v1::Litter {
    let born_on = books.house.clock.now().date_naive().to_string().parse().unwrap();
    let born = v1::RecordLitterRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some(born_on),
        young: Some(v1::Counts { males: 0, females: 0, unknown: 3 }),
        dam: dam.to_owned(),
        parents_because: "it bore them on the way in".to_owned(),
        ..Default::default()
    };
    let recorded = books.quill.registrar.client.litters().record_litter(born).await.unwrap();
    recorded.into_inner().litter.unwrap()
}

/// A litter as it stands.
async fn of_today(books: &Books, litter: &v1::Litter) -> v1::Litter {
    let get =
        v1::GetLitterRequest { site: "QUI".to_owned(), litter_id: litter.id.clone(), ..Default::default() };
    books.quill.auditor.client.litters().get_litter(get).await.unwrap().into_inner().litter.unwrap()
}

#[tokio::test]
async fn litters_and_groups_go_with_the_animal_and_come_back() {
    let books = Books::new().await;
    let litter = litter(&books, "Sedge").await;
    let group = v1::CreateGroupRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        ..Default::default()
    };
    books.quill.registrar.client.groups().create_group(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec!["Sedge".to_owned()],
        role: v1::GroupRole::Breeding.into(),
        ..Default::default()
    };
    books.quill.registrar.client.groups().join_group(join).await.unwrap();
    assert_eq!(books.fact("Sedge", FactKind::Membership).await.say, "belongs to Weir family (breeding)");
    let dam = async || of_today(&books, &litter).await.dam.unwrap().id;
    let merged = merge(&books, "Bramble", "Sedge").await.unwrap();
    assert_eq!(dam().await, books.bramble.id);
    assert_eq!(books.facts("Bramble", FactKind::Membership).await.len(), 1);
    unmerge(&books, &merged.merge_id).await.unwrap();
    assert_eq!(dam().await, books.sedge.id);
    assert_eq!(books.facts("Bramble", FactKind::Membership).await, []);
    assert_eq!(books.facts("Sedge", FactKind::Membership).await.len(), 1);
    books.house.close().await;
}

#[tokio::test]
async fn one_young_that_was_told_apart_twice_is_counted_in_its_litter_again() {
    let books = Books::new().await;
    let litters = books.quill.registrar.client.litters();
    let litter = litter(&books, "").await;
    let mut told = Vec::new();
    for _ in 0..2 {
        let apart = v1::TellApartRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            litter_id: litter.id.clone(),
            sex: v1::Sex::Female.into(),
            ..Default::default()
        };
        told.push(litters.clone().tell_apart(apart).await.unwrap().into_inner().animal.unwrap().accession);
    }
    let left = async || of_today(&books, &litter).await.remaining.unwrap().to_string();
    assert_eq!(left().await, "0.0.1");
    let of = books.fact(&told[0], FactKind::ToldApart).await.say;
    assert!(of.starts_with("told apart out of the litter born "), "{of}");
    let merged = merge(&books, &told[0], &told[1]).await.unwrap();
    assert_eq!(left().await, "0.0.2");
    let back = v1::UnmergeAnimalsRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: told[0].clone(),
        merge_id: merged.merge_id,
        because: "another ring".to_owned(),
        ..Default::default()
    };
    books.quill.registrar.client.merges().unmerge_animals(back).await.unwrap();
    assert_eq!(left().await, "0.0.1");
    books.house.close().await;
}
