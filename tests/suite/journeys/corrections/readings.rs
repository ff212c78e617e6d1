//! Readings that were wrong: the mass, the animal, the time, or altogether.

use super::{Books, mass};
use chrono::TimeDelta;
use futures::future::join_all;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::reason;
use prost::Message;
use tonic::Code;

async fn weights(books: &Books, at: Option<chrono::DateTime<chrono::Utc>>) -> v1::ListWeightsResponse {
    let ask = v1::ListWeightsRequest {
        site: "QUI".to_owned(),
        as_known_at: at.map(timestamp),
        ..Default::default()
    };
    books.quill.auditor.client.weights().list_weights(ask).await.unwrap().into_inner()
}

#[tokio::test]
async fn what_was_known_before_is_told_byte_for_byte_and_so_is_what_is_known_since() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_210).await;
    let before = books.house.clock.now();
    let known = (weights(&books, Some(before)).await, books.history("Bramble", Some(before)).await);

    let answer = books.correct(&weight, mass(8_120)).await.unwrap();
    assert_eq!(answer.facts[0].say, "8.12 kg");
    let after = books.house.clock.now();
    let corrected = (weights(&books, Some(after)).await, books.history("Bramble", Some(after)).await);
    assert_eq!(corrected.0.weights[0].mass.unwrap().milligrams, 8_120_000);
    assert_ne!(corrected.0.weights[0].id, weight);

    books.weigh("Bramble", 8_300).await;
    let then = (weights(&books, Some(before)).await, books.history("Bramble", Some(before)).await);
    assert_eq!(then.0.encode_to_vec(), known.0.encode_to_vec());
    assert_eq!(then.1.encode_to_vec(), known.1.encode_to_vec());
    let since = (weights(&books, Some(after)).await, books.history("Bramble", Some(after)).await);
    assert_eq!(since.0.encode_to_vec(), corrected.0.encode_to_vec());
    assert_eq!(since.1.encode_to_vec(), corrected.1.encode_to_vec());
    books.house.close().await;
}

#[tokio::test]
async fn a_reading_of_the_wrong_animal_is_moved_to_the_right_one() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 7_900).await;
    let was = v1::FactChange { animal: Some("Sedge".to_owned()), ..Default::default() };
    books.correct(&weight, was).await.unwrap();
    assert!(books.facts("Bramble", FactKind::Weight).await.is_empty());
    assert_eq!(books.fact("Sedge", FactKind::Weight).await.say, "7.9 kg");
    assert_eq!(books.see("Sedge").await.latest_mass.unwrap().milligrams, 7_900_000);
    assert_eq!(books.see("Bramble").await.latest_mass, None);
    books.house.close().await;
}

#[tokio::test]
async fn a_reading_is_moved_to_no_animal_that_the_site_sees_and_never_held() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 7_900).await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    let alder = books.house.otter(&brack, "Alder").await;
    let offer = v1::ProposeTransferRequest {
        request_id: books.house.request(),
        site: "BRA".to_owned(),
        animal: alder.id.clone(),
        to_site: "QUI".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let offered = brack.registrar.client.send(offer).await.unwrap().transfer.unwrap();
    let agree = v1::AgreeTransferRequest {
        request_id: books.house.request(),
        transfer_id: offered.id,
        ..Default::default()
    };
    books.quill.registrar.client.send(agree).await.unwrap();
    let was = v1::FactChange { animal: Some(alder.id), ..Default::default() };
    let refused = books.correct(&weight, was).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "{}", refused.message());
    books.house.close().await;
}

#[tokio::test]
async fn a_reading_gets_another_time_but_not_that_of_another_reading_nor_one_to_come() {
    let books = Books::new().await;
    let first = books.weigh("Bramble", 8_000).await;
    let taken = books.fact("Bramble", FactKind::Weight).await.happened_at;
    let second = books.weigh("Bramble", 8_010).await;
    let refused = books
        .correct(&second, v1::FactChange { happened_at: taken, ..Default::default() })
        .await
        .unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::AlreadyExists, "EXISTS"));
    let later = Some(timestamp(books.house.clock.now() + TimeDelta::hours(2)));
    let refused = books
        .correct(&second, v1::FactChange { happened_at: later, ..Default::default() })
        .await
        .unwrap_err();
    assert_eq!(reason(&refused), "IN_THE_FUTURE");
    let before = Some("2024-01-01".parse().unwrap());
    let refused = books
        .correct(&first, v1::FactChange { happened_on: before, ..Default::default() })
        .await
        .unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "the site did not hold it then");
    let refused = books.correct(&first, mass(0)).await.unwrap_err();
    assert_eq!(reason(&refused), "MASS_OUT_OF_RANGE");
    let earlier = Some("2026-02-27".parse().unwrap());
    let answer =
        books.correct(&first, v1::FactChange { happened_on: earlier, ..Default::default() }).await.unwrap();
    assert!(answer.facts[0].day_only);
    books.house.close().await;
}

#[tokio::test]
async fn the_concern_follows_the_readings_as_they_are_corrected() {
    let books = Books::new().await;
    let mut sheet = books.house.round("QUI", &[]);
    let start = books.house.clock.now() - TimeDelta::weeks(27);
    for week in 0..26_i32 {
        let round = books.house.round(
            "QUI",
            &[("Bramble", start + TimeDelta::weeks(week.into()), 8_000 + i64::from(week % 3) * 10)],
        );
        sheet.readings.extend(round.readings);
    }
    let mut keeper = books.quill.keeper.client.weights();
    keeper.record_weights(sheet).await.unwrap();
    // Twice far too little: the second confirms the first.
    books.weigh("Bramble", 6_000).await;
    books.weigh("Bramble", 6_010).await;
    let concerns = async || {
        let ask = v1::ListConcernsRequest { site: "QUI".to_owned(), ..Default::default() };
        books.quill.keeper.client.concerns().list_concerns(ask).await.unwrap().into_inner().concerns
    };
    let raised = concerns().await;
    assert_eq!(raised.len(), 1, "{raised:?}");
    let mut readings = books.facts("Bramble", FactKind::Weight).await;
    let last = readings.split_off(readings.len() - 2);
    for reading in last {
        books.correct(&reading.id, mass(8_005)).await.unwrap();
    }
    let quiet = concerns().await;
    assert_eq!(quiet.len(), 1, "people settle it, not Holt");
    assert_ne!(quiet[0].seen, raised[0].seen);
    assert!(quiet[0].seen.contains("as expected again"), "{}", quiet[0].seen);
    books.house.close().await;
}

#[tokio::test]
async fn keepers_correct_readings_of_the_last_days_and_nothing_else() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_000).await;
    let birth = books.fact("Bramble", FactKind::Birth).await.id;
    let keeper = &books.quill.keeper;
    let refused = books.strike_out(keeper, "Bramble", &birth).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::PermissionDenied, "ROLE_NEEDED"));
    let auditor = &books.quill.auditor;
    let refused = books.strike_out(auditor, "Bramble", &weight).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED");
    books.strike_out(keeper, "Bramble", &weight).await.unwrap();
    assert!(books.facts("Bramble", FactKind::Weight).await.is_empty());
    let old = books.weigh("Bramble", 8_000).await;
    books.house.clock.advance(TimeDelta::days(8));
    let refused = books.strike_out(keeper, "Bramble", &old).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED");
    books.strike_out(&books.quill.registrar, "Bramble", &old).await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn of_corrections_at_once_one_goes_through_and_the_others_are_told() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_000).await;
    let answers = join_all((1..=6).map(|n| books.correct(&weight, mass(8_000 + n)))).await;
    let (well, refused): (Vec<_>, Vec<_>) = answers.into_iter().partition(Result::is_ok);
    assert_eq!(well.len(), 1);
    for status in refused.into_iter().map(Result::unwrap_err) {
        assert_eq!((status.code(), reason(&status).as_str()), (Code::Aborted, "VERSION_PASSED"));
    }
    assert_eq!(books.facts("Bramble", FactKind::Weight).await.len(), 1);
    books.house.close().await;
}

#[tokio::test]
async fn a_correction_that_was_based_on_another_version_is_refused_and_one_sent_again_is_answered_again() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_000).await;
    let version = books.history("Bramble", None).await.version;
    let mut registrar = books.quill.registrar.client.corrections();
    let stale = v1::CorrectFactRequest { version: version + 1, ..books.correction(&weight, mass(8_001)) };
    let refused = registrar.correct_fact(stale).await.unwrap_err();
    assert_eq!(reason(&refused), "VERSION_PASSED");
    let ask = v1::CorrectFactRequest { version, ..books.correction(&weight, mass(8_001)) };
    let tried =
        v1::CorrectFactRequest { request_id: books.house.request(), validate_only: true, ..ask.clone() };
    registrar.correct_fact(tried).await.unwrap();
    assert_eq!(books.fact("Bramble", FactKind::Weight).await.id, weight, "only tried");
    let first = registrar.correct_fact(ask.clone()).await.unwrap().into_inner();
    let again = registrar.correct_fact(ask).await.unwrap().into_inner();
    assert_eq!(first, again);
    assert_eq!(first.version, version + 1);
    books.house.close().await;
}
