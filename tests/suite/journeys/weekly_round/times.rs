//! When a reading was taken: instants, days alone, days of another length, and times that cannot be.

use super::{Quill, at, grams, on, reading, reasons, tried};
use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::v1::{self, ErrorReason};
use holt_tests::house::start_of_time;
use prost_types::Timestamp;

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// When each of an animal's readings stands, and whether only its day is known, oldest first.
async fn kept(quill: &Quill, animal: &str) -> Vec<(String, bool)> {
    let mut kept: Vec<_> = quill
        .listed(animal)
        .await
        .iter()
        .map(|w| (holt_proto::time::instant(w.weighed_at.unwrap()).unwrap().to_rfc3339(), w.day_only))
        .collect();
    kept.reverse();
    kept
}

#[tokio::test]
async fn what_lies_in_the_future_is_refused() {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[]);
    round.readings = vec![
        reading("Bramble", at(start_of_time() + TimeDelta::hours(1)), grams(8000)),
        reading("Sedge", on("2026-03-03"), grams(8000)),
        reading("Teasel", at(start_of_time()), grams(8000)),
    ];
    let answer = quill.weigh(round).await;
    let future = Some(ErrorReason::InTheFuture);
    assert_eq!(reasons(&answer), [future, future, None]);
    assert_eq!(answer.answers[0].refusal.as_ref().unwrap().field, "weighed_at");
    quill.house.close().await;
}

#[tokio::test]
async fn a_day_alone_stands_at_its_middle_and_today_not_after_now() {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[]);
    round.readings = vec![
        reading("Bramble", on("2026-03-01"), grams(8000)),
        // It is six in the morning.
        reading("Bramble", on("2026-03-02"), grams(8010)),
    ];
    let answer = quill.weigh(round).await;
    assert_eq!(reasons(&answer), [None, None]);
    let [first, second] = kept(&quill, "Bramble").await.try_into().unwrap();
    assert_eq!(first, ("2026-03-01T12:00:00+00:00".to_owned(), true));
    assert!(second.0.starts_with("2026-03-02T06:00:00.") && second.1, "{second:?}");
    quill.house.close().await;
}

/// In Dublin the clocks went forward on 30 March 2025 at 01:00 UTC and back on 26 October 2025 at 01:00 UTC
/// (the last Sundays of March and October: Directive 2000/84/EC).
#[tokio::test]
async fn days_of_23_and_25_hours_keep_their_readings() {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[]);
    let instants = [
        "2025-03-30T00:00:00Z",
        "2025-03-30T22:59:59Z",
        "2025-03-30T23:00:00Z",
        "2025-10-25T23:00:00Z",
        "2025-10-26T00:30:00Z",
        "2025-10-26T01:30:00Z",
        "2025-10-26T23:59:59Z",
    ];
    round.readings = instants.iter().map(|text| reading("Bramble", at(utc(text)), grams(8000))).collect();
    round.readings.push(reading("Sedge", on("2025-03-30"), grams(8000)));
    round.readings.push(reading("Sedge", on("2025-10-26"), grams(8000)));
    let answer = quill.weigh(round).await;
    assert_eq!(reasons(&answer), [None; 9]);
    let days = |first: &str, last: &str| v1::ListWeightsRequest {
        site: "QUI".to_owned(),
        days: Some(v1::DaySpan { first: Some(first.parse().unwrap()), last: Some(last.parse().unwrap()) }),
        ..Default::default()
    };
    for (day, wanted) in [("2025-03-30", 3), ("2025-03-31", 1), ("2025-10-26", 5), ("2025-10-25", 0)] {
        let list = quill.park.auditor.client.weights().list_weights(days(day, day)).await.unwrap();
        assert_eq!(list.into_inner().weights.len(), wanted, "{day}");
    }
    quill.house.close().await;
}

#[tokio::test]
async fn a_day_on_which_it_came_counts_from_when_it_came() {
    let quill = Quill::new().await;
    let came = utc("2026-02-27T15:30:00Z");
    let arrival = v1::RegisterArrivalRequest {
        arrived_at: Some(holt_proto::time::timestamp(came)),
        ..quill.house.arrival(&quill.park, "Rush", "2026-02-27".parse().unwrap())
    };
    quill.park.registrar.client.animals().register_arrival(arrival).await.unwrap();
    let mut round = quill.house.round("QUI", &[]);
    round.readings = vec![
        reading("QUI-26-0001", on("2026-02-27"), grams(8000)),
        reading("QUI-26-0001", on("2026-02-26"), grams(8000)),
    ];
    let answer = quill.weigh(round).await;
    assert_eq!(reasons(&answer), [None, Some(ErrorReason::AnimalNotHeldThen)]);
    assert_eq!(kept(&quill, "QUI-26-0001").await, [(came.to_rfc3339(), true)]);
    quill.house.close().await;
}

#[tokio::test]
async fn what_has_no_time_was_taken_now() {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[]);
    let now = |animal, result| v1::Reading { when: None, ..reading(animal, at(start_of_time()), result) };
    round.readings = vec![now("Bramble", grams(8000)), now("Sedge", tried()), now("Bramble", grams(8100))];
    let answer = quill.weigh(round.clone()).await;
    assert_eq!(reasons(&answer), [None, None, Some(ErrorReason::ReadingConflicts)], "one now has one mass");
    let [(instant, day_only)] = kept(&quill, "Bramble").await.try_into().unwrap();
    assert!(instant.starts_with("2026-03-02T06:00:00.") && !day_only, "{instant}");
    // Sent again later, it was taken when it was first sent.
    quill.house.clock.advance(TimeDelta::hours(1));
    assert_eq!(quill.weigh(round).await, answer);
    assert_eq!(kept(&quill, "Bramble").await.len(), 1);
    quill.house.close().await;
}

#[tokio::test]
async fn impossible_days_and_times_are_refused_and_what_is_finer_than_kept_is_cut() {
    let quill = Quill::new().await;
    let day = |year, month, day| v1::reading::When::WeighedOn(v1::Day { year, month, day });
    let seconds = start_of_time().timestamp() - 60;
    let instant = |seconds, nanos| v1::reading::When::WeighedAt(Timestamp { seconds, nanos });
    let mut round = quill.house.round("QUI", &[]);
    round.readings = vec![
        reading("Bramble", day(2026, 2, 29), grams(8000)),
        reading("Bramble", day(2026, 2, 0), grams(8000)),
        reading("Bramble", day(0, 2, 1), grams(8000)),
        reading("Bramble", day(2026, 13, 1), grams(8000)),
        reading("Bramble", instant(seconds, 1_000_000_000), grams(8000)),
        reading("Bramble", instant(seconds, -1), grams(8000)),
        reading("Bramble", instant(i64::MAX, 0), grams(8000)),
        reading("Bramble", instant(seconds, 123_456_789), grams(8000)),
    ];
    let answer = quill.weigh(round).await;
    let malformed = Some(ErrorReason::Malformed);
    assert_eq!(reasons(&answer)[..7], [malformed; 7]);
    assert_eq!(answer.answers[7].refusal, None);
    assert_eq!(quill.listed("Bramble").await[0].weighed_at, Some(Timestamp { seconds, nanos: 123_456_000 }));
    quill.house.close().await;
}
