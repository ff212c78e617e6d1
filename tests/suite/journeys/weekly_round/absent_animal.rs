//! Animals that are not there, and rows that stand all the same.

use super::{Quill, at, grams, morning, outcomes, reading, reasons};
use chrono::TimeDelta;
use holt_proto::time::day;
use holt_proto::v1::{self, ErrorReason, ReadingOutcome};
use holt_tests::house::start_of_time;

async fn bury(quill: &Quill, animal: &str) {
    let death = v1::RecordDeathRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        animal: animal.to_owned(),
        died_on: Some(day("2026-02-20".parse().unwrap())),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    quill.park.registrar.client.animals().record_death(death).await.unwrap();
}

async fn part_with(quill: &Quill, animal: &str) {
    let departure = v1::RecordDepartureRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        animal: animal.to_owned(),
        departed_on: Some(day("2026-02-20".parse().unwrap())),
        destination: v1::DepartureDestination::Collection.into(),
        destination_name: "Fenwater Collection".to_owned(),
        ..Default::default()
    };
    quill.park.registrar.client.animals().record_departure(departure).await.unwrap();
}

#[tokio::test]
async fn an_unknown_animal_leaves_the_others_alone() {
    let quill = Quill::new().await;
    let at = morning();
    let round =
        [("Bramble", at, 8200), ("Brambel", at, 8200), ("QUI-25-0099", at, 8000), ("Sedge", at, 7900)];
    let answer = quill.weigh(quill.house.round("QUI", &round)).await;
    let not_found = Some(ErrorReason::NotFound);
    assert_eq!(reasons(&answer), [None, not_found, not_found, None]);
    let refusal = answer.answers[1].refusal.as_ref().unwrap();
    assert_eq!(refusal.field, "animal");
    assert!(refusal.say.contains("Brambel") && !refusal.mend.is_empty(), "{refusal:?}");
    assert_eq!(answer.answers[1].animal_id, "");
    assert_eq!(quill.rows("weights").await, 2);
    quill.house.close().await;
}

#[tokio::test]
async fn a_house_name_of_two_is_asked_back_with_both() {
    let quill = Quill::new().await;
    quill.house.otter(&quill.park, "Bramble").await;
    let answer = quill.weigh(quill.house.round("QUI", &[("Bramble", morning(), 8200)])).await;
    assert_eq!(reasons(&answer), [Some(ErrorReason::AmbiguousAnimal)]);
    let say = &answer.answers[0].refusal.as_ref().unwrap().say;
    assert!(say.contains("QUI-25-0001") && say.contains("QUI-25-0004"), "{say}");
    // Once one of them has left, the name means the other again.
    part_with(&quill, "QUI-25-0004").await;
    let answer = quill.weigh(quill.house.round("QUI", &[("Bramble", morning(), 8200)])).await;
    assert_eq!(answer.answers[0].accession, "QUI-25-0001");
    assert_eq!(outcomes(&answer), [ReadingOutcome::Accepted]);
    quill.house.close().await;
}

#[tokio::test]
async fn before_it_came_and_after_it_left_it_was_not_held() {
    let quill = Quill::new().await;
    part_with(&quill, "Sedge").await;
    let mut round = quill.house.round("QUI", &[]);
    let arrived = "2025-03-01T00:00:00Z".parse().unwrap();
    let left = "2026-02-21T00:00:00Z".parse().unwrap();
    for (animal, instant) in [
        ("QUI-25-0001", arrived),
        ("QUI-25-0001", arrived - TimeDelta::microseconds(1)),
        ("QUI-25-0002", left - TimeDelta::hours(1)),
        ("QUI-25-0002", left),
    ] {
        round.readings.push(reading(animal, at(instant), grams(8000)));
    }
    let answer = quill.weigh(round).await;
    let not_held = Some(ErrorReason::AnimalNotHeldThen);
    assert_eq!(reasons(&answer), [None, not_held, None, not_held]);
    assert_eq!(answer.answers[3].house_name, "Sedge", "what is known is told");
    quill.house.close().await;
}

#[tokio::test]
async fn a_dead_animal_is_named_as_dead_from_its_day_on() {
    let quill = Quill::new().await;
    bury(&quill, "Teasel").await;
    let mut round = quill.house.round("QUI", &[("QUI-25-0003", morning(), 8000)]);
    let before = "2026-02-19T09:00:00Z".parse().unwrap();
    round.readings.push(reading("Teasel", at(before), grams(8000)));
    let answer = quill.weigh(round).await;
    assert_eq!(reasons(&answer), [Some(ErrorReason::AnimalDead), None], "a late entry is welcome");
    let say = &answer.answers[0].refusal.as_ref().unwrap().say;
    assert!(say.contains("2026-02-20") && say.contains("Teasel"), "{say}");
    quill.house.close().await;
}

#[tokio::test]
async fn an_animal_of_another_site_is_not_there_unless_one_owns_it() {
    let quill = Quill::new().await;
    let brack = quill.house.park("BRA", "America/Halifax").await;
    let theirs = quill.house.otter(&brack, "Alder").await;
    let lent = quill.house.arrival(&brack, "Willow", "2025-03-01".parse().unwrap());
    let lent = v1::RegisterArrivalRequest { owner: "QUI".to_owned(), ..lent };
    let lent = brack.registrar.client.animals().register_arrival(lent).await.unwrap().into_inner();
    let lent = lent.animal.unwrap();
    let at = start_of_time() - TimeDelta::hours(1);
    let round = [("Alder", at, 8000), (theirs.id.as_str(), at, 8000), (lent.id.as_str(), at, 8000)];
    let answer = quill.weigh(quill.house.round("QUI", &round)).await;
    let not_found = Some(ErrorReason::NotFound);
    assert_eq!(reasons(&answer), [not_found, not_found, Some(ErrorReason::AnimalNotHeldThen)]);
    quill.house.close().await;
}
