//! Readings come alone or on a stream; what was said already is said once.

use super::{Heated, counts};
use crate::journeys::registration::fields;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::reason;
use tonic::Code;

#[tokio::test]
async fn an_instant_is_recorded_once_whoever_sends_it_again() {
    let heated = Heated::new().await;
    let first = heated.readings(&[(20, 21.0), (10, 21.5), (20, 21.0)]);
    assert_eq!(counts(&heated.record(first.clone()).await.unwrap()), (2, 1, 0));
    assert_eq!(counts(&heated.record(first.clone()).await.unwrap()), (2, 1, 0), "the kept answer");
    let again = v1::RecordReadingsRequest { request_id: heated.house.request(), ..first };
    assert_eq!(counts(&heated.record(again).await.unwrap()), (0, 3, 0));
    heated.house.close().await;
}

#[tokio::test]
async fn what_cannot_be_is_refused_and_the_rest_stands() {
    let heated = Heated::new().await;
    let mut ask = heated.readings(&[(30, 21.0), (20, 300.0), (10, 21.0), (-30, 21.0)]);
    ask.readings[2].device = "Nobody".to_owned();
    let answer = heated.record(ask).await.unwrap();
    assert_eq!(counts(&answer), (1, 0, 3));
    let reasons: Vec<_> = answer.refused.iter().map(|refused| (refused.row, refused.reason())).collect();
    use v1::ErrorReason as R;
    assert_eq!(reasons, [(1, R::Malformed), (2, R::NotFound), (3, R::InTheFuture)]);
    heated.house.close().await;
}

#[tokio::test]
async fn many_at_once_record_each_instant_once() {
    let heated = Heated::new().await;
    let minutes: Vec<(i64, f64)> = (0..200).map(|n| (n, 21.0)).collect();
    let ask = heated.readings(&minutes);
    let writers = (0..8).map(|_| {
        let ask = v1::RecordReadingsRequest { request_id: heated.house.request(), ..ask.clone() };
        let mut client = heated.quill.keeper.client.climate();
        tokio::spawn(async move { client.record_readings(ask).await.unwrap().into_inner() })
    });
    let mut recorded = 0;
    for writer in writers.collect::<Vec<_>>() {
        recorded += writer.await.unwrap().recorded;
    }
    assert_eq!(recorded, 200);
    heated.house.close().await;
}

#[tokio::test]
async fn portions_on_a_stream_are_answered_one_by_one() {
    let heated = Heated::new().await;
    let portions: Vec<v1::SendReadingsRequest> = (0..5)
        .map(|n| v1::SendReadingsRequest {
            portion: Some(heated.readings(&[(60 - n, 21.0), (50 - n, 21.0)])),
        })
        .collect();
    let ask = tokio_stream::iter(portions);
    let mut answers = heated.quill.keeper.client.climate().send_readings(ask).await.unwrap().into_inner();
    let mut recorded = 0;
    let mut answered = 0;
    while let Some(answer) = answers.message().await.unwrap() {
        recorded += answer.answer.unwrap().recorded;
        answered += 1;
    }
    assert_eq!((answered, recorded), (5, 10));
    heated.house.close().await;
}

#[tokio::test]
async fn a_portion_that_is_none_is_told_field_by_field() {
    let heated = Heated::new().await;
    let mut ask = heated.readings(&[(1, f64::NAN), (2, 21.0)]);
    ask.readings[1].read_at = None;
    let refused = heated.record(ask).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
    assert_eq!(fields(&refused), ["readings[0].value", "readings[1].read_at"]);
    let taken = heated.add("BURROW LAMP", v1::Measure::Temperature).await.unwrap_err();
    assert_eq!(reason(&taken), "EXISTS");
    let nowhere = v1::AddDeviceRequest {
        enclosure: "Attic".to_owned(),
        ..heated.device("Attic lamp", v1::Measure::Temperature)
    };
    let refused = heated.quill.registrar.client.climate().add_device(nowhere).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), fields(&refused)), ("NOT_FOUND", vec!["enclosure".to_owned()]));
    let turned = v1::ClimateRule {
        low: Some(22.0),
        high: Some(20.0),
        season_first: "13-01".to_owned(),
        hours_last: "07:00".to_owned(),
        ..Default::default()
    };
    let refused = heated.keep(vec![turned]).await.unwrap_err();
    assert_eq!(
        fields(&refused),
        ["rules.rules[0]", "rules.rules[0].season_last", "rules.rules[0].hours_first"]
    );
    heated.house.close().await;
}

/// As was known before they came, the readings are not there.
#[tokio::test]
async fn what_was_known_stays_as_it_was() {
    let heated = Heated::new().await;
    heated.record(heated.readings(&[(120, 21.0), (100, 21.0)])).await.unwrap();
    let then = heated.now();
    heated.house.clock.advance(TimeDelta::minutes(5));
    heated.record(heated.readings(&[(90, 12.0), (80, 12.0)])).await.unwrap();
    let ask = |known| v1::GetExposureRequest {
        site: "QUI".to_owned(),
        from: Some(timestamp(then - TimeDelta::hours(3))),
        until: Some(timestamp(then)),
        as_known_at: known,
        ..Default::default()
    };
    let client = heated.quill.auditor.client.climate();
    let known = client.clone().get_exposure(ask(Some(timestamp(then)))).await.unwrap().into_inner();
    let now = client.clone().get_exposure(ask(None)).await.unwrap().into_inner();
    assert_eq!((known.devices[0].readings, now.devices[0].readings), (2, 4));
    heated.house.close().await;
}
