//! What the readings of other books say of an animal is raised once, when it is taken in.

use super::Books;
use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::house::start_of_time;

/// An otter that was weighed every week for a year, and what it weighed each week in grams.
fn otter(name: &str, left_on: Option<&str>, grams: impl Fn(i64) -> i64) -> v1::Life {
    let mark = v1::NewMark {
        kind: v1::MarkKind::HouseName.into(),
        code: name.to_owned(),
        place_on_body: String::new(),
    };
    let number = v1::NewMark {
        kind: v1::MarkKind::FormerNumber.into(),
        code: format!("F-{name}"),
        place_on_body: String::new(),
    };
    let reading = |week: i64| {
        let at: DateTime<Utc> = start_of_time() - TimeDelta::weeks(52 - week);
        v1::LifeReading {
            reading: Some(v1::Reading {
                result: Some(v1::reading::Result::Mass(v1::Mass { milligrams: grams(week) * 1000 })),
                when: Some(v1::reading::When::WeighedAt(timestamp(at))),
                ..Default::default()
            }),
            doubtful: false,
        }
    };
    let stay = v1::Stay {
        began_on: Some("2021-04-12".parse().unwrap()),
        began: v1::StayBeginning::Arrival.into(),
        source: v1::ArrivalSource::OnSiteBefore.into(),
        ..Default::default()
    };
    let stay = match left_on {
        None => stay,
        Some(day) => v1::Stay {
            ended_on: Some(day.parse().unwrap()),
            ended: v1::StayEnd::Departure.into(),
            destination: v1::DepartureDestination::Collection.into(),
            destination_name: "Brackwater Park".to_owned(),
            ..stay
        },
    };
    v1::Life {
        taxon: "Lontra canadensis".to_owned(),
        marks: [mark, number].map(|mark| v1::LifeMark { mark: Some(mark), ..Default::default() }).to_vec(),
        stays: vec![stay],
        readings: (0..52).map(reading).collect(),
        ..Default::default()
    }
}

fn steady(week: i64) -> i64 {
    8_000 + [0, 60, -40, 20, -60, 10][usize::try_from(week % 6).unwrap()]
}

/// Two in a hundred a week over the last eight.
fn losing(week: i64) -> i64 {
    steady(week) - 160 * (week - 43).max(0)
}

#[tokio::test]
async fn one_that_loses_is_raised_once_and_one_that_has_left_is_not() {
    let books = Books::new().await;
    let lives = vec![
        otter("Bramble", None, steady),
        otter("Sedge", None, losing),
        otter("Rush", Some("2026-02-25"), losing),
    ];
    let ask = |validate_only| v1::TakeInLivesRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        validate_only,
        lives: lives.clone(),
    };
    let send = async |validate_only| {
        let mut exchange = books.park.registrar.client.exchange();
        let sent = futures::stream::iter([ask(validate_only)]);
        exchange.take_in_lives(sent).await.unwrap().into_inner()
    };
    let list = async || {
        let ask = v1::ListConcernsRequest { site: "QUI".to_owned(), ..Default::default() };
        books.park.keeper.client.concerns().list_concerns(ask).await.unwrap().into_inner().concerns
    };
    let tried = send(true).await;
    assert_eq!((tried.written, tried.concerns.len(), list().await.len()), (false, 1, 0));
    let taken = send(false).await;
    let [concern] = taken.concerns.as_slice() else { panic!("{:?}", taken.concerns) };
    assert_eq!((concern.kind(), concern.house_name.as_str()), (v1::ConcernKind::WeightTrend, "Sedge"));
    assert!(concern.seen.starts_with("Sedge (QUI-21-0002) weighed"), "{}", concern.seen);
    assert!(!taken.caution.is_empty());
    let open = list().await;
    assert_eq!(open.iter().map(|one| &one.id).collect::<Vec<_>>(), [&concern.id]);
    books.house.close().await;
}
