//! The link is all that a merge writes: the facts of either record stay, and every name leads to the animal.

use super::{Books, merge, picture, resolved, stands, unmerge};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::{Person, reason};
use prost::Message;

async fn leave(books: &Books, animal: &str, on: &str) {
    let leave = v1::RecordDepartureRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: animal.to_owned(),
        departed_on: Some(on.parse().unwrap()),
        destination: v1::DepartureDestination::Collection.into(),
        destination_name: "Fenwater Collection".to_owned(),
        ..Default::default()
    };
    books.quill.registrar.client.animals().record_departure(leave).await.unwrap();
}

async fn arrive(books: &Books, name: &str, on: &str) -> v1::Animal {
    let arrival = books.house.arrival(&books.quill, name, on.parse().unwrap());
    register(books, arrival).await
}

async fn register(books: &Books, arrival: v1::RegisterArrivalRequest) -> v1::Animal {
    let arrived = books.quill.registrar.client.animals().register_arrival(arrival).await.unwrap();
    arrived.into_inner().animal.unwrap()
}

async fn die(books: &Books, animal: &str, on: &str) -> Result<v1::RecordDeathResponse, tonic::Status> {
    let death = v1::RecordDeathRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: animal.to_owned(),
        died_on: Some(on.parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    Ok(books.quill.registrar.client.animals().record_death(death).await?.into_inner())
}

#[tokio::test]
async fn neither_history_is_lost_and_every_name_still_leads_to_the_animal() {
    let books = Books::new().await;
    books.weigh("Bramble", 8_000).await;
    books.weigh("Sedge", 8_010).await;
    let before = books.house.clock.now();
    let known = books.history(&books.sedge.id, Some(before)).await;
    books.house.clock.advance(TimeDelta::minutes(1));

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
    let weights = v1::ListWeightsRequest {
        site: "QUI".to_owned(),
        animal: "Sedge".to_owned(),
        as_known_at: Some(timestamp(before)),
        ..Default::default()
    };
    let then = books.quill.auditor.client.weights().list_weights(weights).await.unwrap().into_inner();
    assert_eq!(then.weights.len(), 1, "as known before, there are two animals");
    books.house.close().await;
}

#[tokio::test]
async fn a_history_says_for_which_record_a_fact_was_entered_and_what_is_set_aside() {
    let books = Books::new().await;
    books.weigh("Sedge", 8_010).await;
    merge(&books, "Bramble", "Sedge").await.unwrap();
    let weight = books.fact("Bramble", FactKind::Weight).await;
    assert_eq!((weight.entered_for.as_str(), weight.set_aside), (books.sedge.accession.as_str(), false));
    let holdings = books.facts("Bramble", FactKind::Holding).await;
    let told: Vec<_> = holdings.iter().map(|fact| (fact.entered_for.as_str(), fact.set_aside)).collect();
    assert_eq!(told, [("", false), (books.sedge.accession.as_str(), true)]);
    let aside =
        books.facts("Bramble", FactKind::Birth).await.into_iter().find(|fact| fact.set_aside).unwrap();
    let change = v1::FactChange { born_on: Some("2020-05".parse().unwrap()), ..Default::default() };
    assert_eq!(reason(&books.correct(&aside.id, change).await.unwrap_err()), "MERGE_CONFLICT");
    books.house.close().await;
}

#[tokio::test]
async fn a_merge_is_taken_back_and_what_was_recorded_since_stays() {
    let books = Books::new().await;
    books.weigh("Sedge", 8_010).await;
    let before = picture(&books, &["Sedge"]).await;
    let merged = merge(&books, "Bramble", "Sedge").await.unwrap();
    books.weigh("Sedge", 8_100).await;
    let answer = unmerge(&books, "Bramble", &merged.merge_id).await.unwrap();
    assert_eq!(answer.given_up.unwrap().id, books.sedge.id);
    assert_eq!(picture(&books, &["Sedge"]).await, before);
    assert_eq!(books.fact("Bramble", FactKind::Weight).await.say, "8.1 kg");
    assert_eq!(reason(&unmerge(&books, "Bramble", &merged.merge_id).await.unwrap_err()), "NOT_FOUND");
    books.house.close().await;
}

#[tokio::test]
async fn what_is_corrected_stays_with_the_record_it_was_entered_for() {
    let books = Books::new().await;
    books.weigh("Sedge", 8_010).await;
    let merged = merge(&books, "Bramble", "Sedge").await.unwrap();
    let weight = books.fact("Bramble", FactKind::Weight).await.id;
    books.correct(&weight, crate::journeys::corrections::mass(8_020)).await.unwrap();
    assert_eq!(books.fact("Bramble", FactKind::Weight).await.say, "8.02 kg");
    unmerge(&books, "Bramble", &merged.merge_id).await.unwrap();
    assert_eq!(books.facts("Bramble", FactKind::Weight).await, []);
    assert_eq!(books.fact("Sedge", FactKind::Weight).await.say, "8.02 kg");
    books.house.close().await;
}

#[tokio::test]
async fn two_merges_are_taken_back_in_either_order() {
    for first_first in [true, false] {
        let books = Books::new().await;
        let teasel = books.house.otter(&books.quill, "Teasel").await;
        let records = [books.bramble.id.as_str(), books.sedge.id.as_str(), teasel.id.as_str()];
        for (record, grams) in records.into_iter().zip([8_000, 8_010, 8_020]) {
            books.weigh(record, grams).await;
        }
        let before = picture(&books, &records).await;
        let one = merge(&books, "Sedge", "Teasel").await.unwrap().merge_id;
        let two = merge(&books, "Bramble", "Sedge").await.unwrap().merge_id;
        assert_eq!(books.facts(&teasel.id, FactKind::Weight).await.len(), 3);
        let order = if first_first { [&one, &two] } else { [&two, &one] };
        for merge in order {
            // Whichever record stands for the animal that has it.
            let animal = if *merge == one { &books.sedge.id } else { &books.bramble.id };
            unmerge(&books, animal, merge).await.unwrap();
        }
        assert_eq!(picture(&books, &records).await, before, "the first first: {first_first}");
        books.house.close().await;
    }
}

#[tokio::test]
async fn a_death_recorded_since_is_of_the_record_under_which_it_was_held() {
    let books = Books::new().await;
    // It left, and came back as if it were another.
    leave(&books, "Bramble", "2025-03-20").await;
    let heather = arrive(&books, "Heather", "2025-06-01").await;
    let merged = merge(&books, "Bramble", "Heather").await.unwrap();
    assert_eq!(books.see("Bramble").await.status(), v1::AnimalStatus::Held);
    books.weigh("Bramble", 8_200).await;
    let today = books.house.clock.now().date_naive().to_string();
    die(&books, "Bramble", &today).await.unwrap();
    assert_eq!(books.see("Heather").await.status(), v1::AnimalStatus::Dead);
    super::stock(&books).await;

    unmerge(&books, "Bramble", &merged.merge_id).await.unwrap();
    assert_eq!(books.see(&heather.id).await.status(), v1::AnimalStatus::Dead);
    assert_eq!(books.see(&books.bramble.id).await.status(), v1::AnimalStatus::Departed);
    assert_eq!(books.facts(&heather.id, FactKind::Weight).await.len(), 1);
    super::stock(&books).await;
    books.house.close().await;
}

#[tokio::test]
async fn an_animal_is_found_and_weighed_by_the_chip_of_either_record() {
    let books = Books::new().await;
    let chip = "999000000000001";
    let mark = v1::ApplyMarkRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Sedge".to_owned(),
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::Transponder.into(),
            code: chip.to_owned(),
            place_on_body: String::new(),
        }),
        ..Default::default()
    };
    books.quill.registrar.client.marks().apply_mark(mark).await.unwrap();
    merge(&books, "Bramble", "Sedge").await.unwrap();
    assert_eq!(books.see(chip).await.id, books.bramble.id);
    books.weigh(chip, 8_000).await;
    let keeper: &Person = &books.quill.keeper;
    for text in [chip, "000001", "Sedge", books.sedge.accession.as_str()] {
        let find = v1::FindAnimalsRequest { text: text.to_owned(), most: 10 };
        let found = keeper.client.find().find_animals(find).await.unwrap().into_inner().matches;
        let ids: Vec<_> = found.iter().map(|one| one.animal.as_ref().unwrap().id.as_str()).collect();
        assert_eq!(ids, [books.bramble.id.as_str()], "{text}");
    }
    books.house.close().await;
}

#[tokio::test]
async fn a_merge_that_is_taken_back_touches_nothing_that_another_set_aside() {
    let books = Books::new().await;
    // Of one stay the second record says less, and is set aside; then the animal turns out to have left before that.
    let again = books.house.arrival(&books.quill, "", "2025-04-10".parse().unwrap());
    let again = register(&books, v1::RegisterArrivalRequest { marks: Vec::new(), ..again }).await;
    merge(&books, "Bramble", &again.id).await.unwrap();
    leave(&books, "Bramble", "2025-04-05").await;
    let teasel = arrive(&books, "Teasel", "2025-06-01").await;
    let records = [books.bramble.id.as_str(), teasel.id.as_str()];
    let before = picture(&books, &records).await;
    assert_eq!(books.see(&again.id).await.status(), v1::AnimalStatus::Departed);

    let merged = merge(&books, "Bramble", "Teasel").await.unwrap();
    assert_eq!(books.see("Bramble").await.status(), v1::AnimalStatus::Held);
    unmerge(&books, "Bramble", &merged.merge_id).await.unwrap();
    assert_eq!(picture(&books, &records).await, before);
    books.house.close().await;
}

#[tokio::test]
async fn an_animal_departs_under_the_record_whose_holding_stands() {
    let books = Books::new().await;
    let found = arrive(&books, "Found", "2025-03-09").await;
    let born = v1::RegisterArrivalRequest {
        born_on: Some("2025-03-12".parse().unwrap()),
        ..books.house.arrival(&books.quill, "Alder", "2025-03-20".parse().unwrap())
    };
    let alder = register(&books, born).await;
    let merged =
        resolved(&books, "Alder", "Found", vec![stands(FactKind::Birth, "Alder")]).await.unwrap().merge_id;
    leave(&books, "Alder", "2025-05-02").await;
    assert_eq!(books.see(&found.id).await.status(), v1::AnimalStatus::Departed);
    super::stock(&books).await;

    unmerge(&books, "Alder", &merged).await.unwrap();
    let status = async |animal: &v1::Animal| books.see(&animal.id).await.status();
    assert_eq!(
        (status(&alder).await, status(&found).await),
        (v1::AnimalStatus::Departed, v1::AnimalStatus::Held)
    );
    super::stock(&books).await;
    books.house.close().await;
}

#[tokio::test]
async fn each_record_dies_its_own_death_alone() {
    let books = Books::new().await;
    let lent = v1::RegisterArrivalRequest {
        owner: "Fenwater Collection".to_owned(),
        ..books.house.arrival(&books.quill, "Teasel", "2025-03-10".parse().unwrap())
    };
    let teasel = register(&books, lent).await;
    leave(&books, "Teasel", "2025-03-12").await;
    let heather = arrive(&books, "Heather", "2025-03-13").await;
    let teasels = vec![stands(FactKind::Title, &teasel.accession)];
    let merged = resolved(&books, "Teasel", "Heather", teasels).await.unwrap().merge_id;

    die(&books, "Heather", "2025-05-02").await.unwrap();
    let on = v1::FactChange { happened_on: Some("2025-05-01".parse().unwrap()), ..Default::default() };
    let death = books.fact("Heather", FactKind::Death).await.id;
    let earlier = v1::CorrectFactRequest { animal: "Heather".to_owned(), ..books.correction(&death, on) };
    books.quill.registrar.client.corrections().correct_fact(earlier).await.unwrap();
    super::stock(&books).await;

    unmerge(&books, "Teasel", &merged).await.unwrap();
    assert_eq!(books.see(&heather.id).await.status(), v1::AnimalStatus::Dead);
    let title = books.fact(&heather.id, FactKind::Title).await;
    let ended = title.ended_at.map(|at| holt_proto::time::instant(at).unwrap().date_naive().to_string());
    assert_eq!(ended.as_deref(), Some("2025-05-01"));
    assert_eq!(books.see(&teasel.id).await.status(), v1::AnimalStatus::Departed);
    assert_eq!(books.fact(&teasel.id, FactKind::Title).await.ended_at, None, "it did not die");
    super::stock(&books).await;
    books.house.close().await;
}
