//! What is sent twice is recorded once.

use super::{Quill, at, grams, morning, on, outcomes, reading, reasons};
use chrono::TimeDelta;
use holt_proto::v1::{ErrorReason, ReadingOutcome};
use holt_tests::reason;
use prost::Message;
use sqlx::{Connection, Executor};
use tonic::Code;
use tonic_types::StatusExt;

#[tokio::test]
async fn the_same_request_is_answered_with_the_same_bytes() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &super::steady(12)).await;
    let at = morning();
    let mut round =
        quill.house.round("QUI", &[("Bramble", at, 820), ("Sedge", at, 7900), ("Nobody", at, 8000)]);
    round.readings[1].note = "wet, after the feed".to_owned();
    let first = quill.weigh(round.clone()).await;
    assert_eq!(
        outcomes(&first),
        [ReadingOutcome::SecondWeighing, ReadingOutcome::Accepted, ReadingOutcome::Refused]
    );
    let (weights, ledger) = (quill.rows("weights").await, quill.rows("ledger").await);
    // Much later, when the same readings would be answered otherwise.
    quill.next_week();
    let again = quill.weigh(round).await;
    assert_eq!(again.encode_to_vec(), first.encode_to_vec());
    assert_eq!((quill.rows("weights").await, quill.rows("ledger").await), (weights, ledger));
    quill.house.close().await;
}

#[tokio::test]
async fn the_same_request_id_with_other_content_is_refused() {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[("Bramble", morning(), 8200)]);
    quill.weigh(round.clone()).await;
    round.readings[0].note = "wet".to_owned();
    let refused = quill.park.keeper.client.weights().record_weights(round.clone()).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::AlreadyExists, "REQUEST_ID_REUSED"));
    let info = refused.get_details_error_info().unwrap();
    assert_eq!(info.metadata["request_id"], round.request_id);
    assert_eq!(quill.rows("weights").await, 1);
    // To another method, too.
    let mut birth = quill.house.arrival(&quill.park, "Rush", "2026-03-01".parse().unwrap());
    birth.request_id = quill.house.request();
    quill.park.registrar.client.animals().register_arrival(birth.clone()).await.unwrap();
    let taxon = holt_proto::v1::CreateTaxonRequest {
        request_id: birth.request_id,
        scientific_name: "Lutra lutra".to_owned(),
        common_name: "Eurasian otter".to_owned(),
        ..Default::default()
    };
    let refused = quill.park.registrar.client.animals().create_taxon(taxon).await.unwrap_err();
    assert_eq!(reason(&refused), "REQUEST_ID_REUSED");
    quill.house.close().await;
}

/// A request id is its sender's own: nobody can take another's, or learn what it was answered.
#[tokio::test]
async fn another_persons_request_id_is_another_request() {
    let quill = Quill::new().await;
    let round = quill.house.round("QUI", &[("Bramble", morning(), 8200)]);
    let first = quill.weigh(round.clone()).await;
    let other = quill.park.vet.client.weights().record_weights(round).await.unwrap().into_inner();
    assert_eq!(outcomes(&other), [ReadingOutcome::Repeat]);
    assert_eq!(other.answers[0].weight_id, first.answers[0].weight_id);
    quill.house.close().await;
}

#[tokio::test]
async fn the_same_reading_in_another_request_is_a_repeat() {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[("Bramble", morning(), 8200)]);
    round.readings.push(reading("Sedge", on("2026-03-01"), grams(7900)));
    let first = quill.weigh(round.clone()).await;
    round.request_id = quill.house.request();
    // The same animal by another name, and one reading more.
    round.readings[0].animal = "QUI-25-0001".to_owned();
    round.readings.push(reading("Teasel", at(morning()), grams(8050)));
    let again = quill.weigh(round).await;
    assert_eq!(outcomes(&again), [ReadingOutcome::Repeat, ReadingOutcome::Repeat, ReadingOutcome::Accepted]);
    let ids = |answer: &holt_proto::v1::RecordWeightsResponse| -> Vec<String> {
        answer.answers[..2].iter().map(|answer| answer.weight_id.clone()).collect()
    };
    assert_eq!(ids(&again), ids(&first));
    assert_eq!(quill.rows("weights").await, 3);
    quill.house.close().await;
}

#[tokio::test]
async fn another_mass_at_the_same_time_contradicts() {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[("Bramble", morning(), 8200)]);
    round.readings.push(reading("Sedge", on("2026-03-01"), grams(7900)));
    quill.weigh(round).await;
    let mut other = quill.house.round("QUI", &[("Bramble", morning(), 8210)]);
    other.readings.push(reading("Sedge", on("2026-03-01"), grams(7910)));
    other.readings.push(reading("Bramble", at(morning()), super::tried()));
    // A second weighing comes minutes later, and is another reading.
    other.readings.push(reading("Bramble", at(morning() + TimeDelta::minutes(5)), grams(8210)));
    let answer = quill.weigh(other).await;
    let conflicts = Some(ErrorReason::ReadingConflicts);
    assert_eq!(reasons(&answer), [conflicts, conflicts, conflicts, None]);
    assert!(answer.answers[0].refusal.as_ref().unwrap().say.contains("8.2 kg"), "{answer:?}");
    assert_eq!(quill.rows("weights").await, 3);
    quill.house.close().await;
}

#[tokio::test]
async fn within_one_round_the_first_of_two_counts() {
    let quill = Quill::new().await;
    let at = morning();
    let round = [("Bramble", at, 8200), ("QUI-25-0001", at, 8200), ("bramble", at, 8300)];
    let answer = quill.weigh(quill.house.round("QUI", &round)).await;
    let conflicts = Some(ErrorReason::ReadingConflicts);
    assert_eq!(reasons(&answer), [None, conflicts, conflicts]);
    assert_eq!(quill.rows("weights").await, 1);
    quill.house.close().await;
}

/// Two devices send the same list at once: whoever comes second finds the readings there.
#[tokio::test]
async fn two_who_send_the_same_reading_at_once_record_it_once() {
    let quill = Quill::new().await;
    let mut owner = quill.house.owner().await;
    let mut watcher = quill.house.owner().await;
    // Both have read what is there before either may write.
    let mut gate = owner.begin().await.unwrap();
    gate.execute("LOCK TABLE weights IN SHARE MODE").await.unwrap();
    let (one, other) = (
        quill.house.round("QUI", &[("Bramble", morning(), 8200)]),
        quill.house.round("QUI", &[("Bramble", morning(), 8200)]),
    );
    let both = async { tokio::join!(quill.weigh(one), quill.weigh(other)) };
    let open = async {
        quill.house.until_waiting(&mut watcher, 2).await;
        gate.rollback().await.unwrap();
    };
    let ((one, other), ()) = tokio::join!(both, open);
    let mut outcomes = [outcomes(&one), outcomes(&other)].concat();
    outcomes.sort();
    assert_eq!(outcomes, [ReadingOutcome::Accepted, ReadingOutcome::Repeat]);
    assert_eq!(one.answers[0].weight_id, other.answers[0].weight_id);
    assert_eq!(quill.rows("weights").await, 1);
    quill.house.close().await;
}
