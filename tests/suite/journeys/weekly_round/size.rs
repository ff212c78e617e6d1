//! Rounds of any size: what is too large or empty is refused, and the work per round does not grow by
//! statements.

use super::{Quill, at, morning, outcomes, reading, tried};
use chrono::TimeDelta;
use holt_proto::v1::{self, ReadingOutcome};
use holt_tests::{House, Tap, reason};
use tonic::Code;

/// A round of `size` readings of three animals, each at a minute of its own, from `since` minutes before the morning back.
fn round(quill: &Quill, since: i64, size: i64) -> v1::RecordWeightsRequest {
    let names = ["Bramble", "Sedge", "Teasel"];
    let readings: Vec<_> = (0..size)
        .zip(names.into_iter().cycle())
        .map(|(n, name)| (name, morning() - TimeDelta::minutes(since + n), 8000 + n % 50))
        .collect();
    quill.house.round("QUI", &readings)
}

#[tokio::test]
async fn a_thousand_readings_are_one_round_and_more_or_none_are_refused() {
    let quill = Quill::new().await;
    let answer = quill.weigh(round(&quill, 0, 1000)).await;
    assert_eq!(outcomes(&answer), [ReadingOutcome::Accepted; 1000]);
    assert_eq!(quill.rows("weights").await, 1000);
    for size in [0, 1001] {
        let refused = quill.park.keeper.client.weights().record_weights(round(&quill, 5000, size)).await;
        let refused = refused.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
    }
    assert_eq!(quill.rows("weights").await, 1000);
    quill.house.close().await;
}

#[tokio::test]
async fn all_pages_of_a_list_make_up_the_whole_once() {
    let quill = Quill::new().await;
    quill.weigh(round(&quill, 0, 250)).await;
    let mut list = v1::ListWeightsRequest {
        site: "QUI".to_owned(),
        page: Some(v1::PageRequest { size: 70, token: String::new() }),
        ..Default::default()
    };
    let client = &quill.park.auditor.client;
    let mut ids = Vec::new();
    let mut sizes = Vec::new();
    loop {
        let page = client.weights().list_weights(list.clone()).await.unwrap().into_inner();
        sizes.push(page.weights.len());
        ids.extend(page.weights.into_iter().map(|weight| weight.id));
        // Added meanwhile, it belongs to none of the pages to come.
        quill.weigh(quill.house.round("QUI", &[("Bramble", quill.next_week(), 8000)])).await;
        let token = page.page.unwrap().next_token;
        if token.is_empty() {
            break;
        }
        list.page = Some(v1::PageRequest { size: 70, token });
    }
    assert_eq!(sizes, [70, 70, 70, 40]);
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), 250);
    // A token opens the request that it came from, and no other.
    list.animal = "Bramble".to_owned();
    let refused = client.weights().list_weights(list).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "PAGE_TOKEN_REFUSED"));
    quill.house.close().await;
}

/// A server behind a tap, with one connection, so that nothing is prepared twice.
async fn tapped() -> (Quill, Tap) {
    let tap = Tap::on(&holt_tests::cluster::database().await).await;
    let house = House::over(tap.url.clone(), |config| config.store.max_connections = 1).await;
    (Quill::in_house(house).await, tap)
}

async fn statements(quill: &Quill, tap: &Tap, round: v1::RecordWeightsRequest) -> u64 {
    let before = tap.statements();
    quill.weigh(round).await;
    tap.statements() - before
}

#[tokio::test]
async fn the_number_of_statements_does_not_grow_with_the_round() {
    let (quill, tap) = tapped().await;
    quill.house.clock.advance(TimeDelta::days(3));
    // The first one learns the types.
    statements(&quill, &tap, round(&quill, -100, 3)).await;
    let few = statements(&quill, &tap, round(&quill, -200, 3)).await;
    let many = statements(&quill, &tap, round(&quill, -2000, 1000)).await;
    assert_eq!(many, few);
    assert!(few < 16, "{few} statements for a round");
    // What follows from readings of the past is worked out again from all of them: they are read once more.
    statements(&quill, &tap, round(&quill, -150, 3)).await;
    let few_late = statements(&quill, &tap, round(&quill, -300, 3)).await;
    let many_late = statements(&quill, &tap, round(&quill, -800, 400)).await;
    assert_eq!(many_late, few_late);
    assert!(few_late < 20, "{few_late} statements for a late round");
    quill.house.close().await;
}

/// Nor with the concerns that it raises or changes.
#[tokio::test]
async fn the_number_of_statements_does_not_grow_with_the_concerns() {
    let (quill, tap) = tapped().await;
    let refuse = |names: &[&str], day: i64| {
        let mut round = quill.house.round("QUI", &[]);
        for (name, hour) in names.iter().flat_map(|name| (0..3).map(move |hour| (*name, hour))) {
            let when = morning() - TimeDelta::days(day) - TimeDelta::hours(hour);
            round.readings.push(reading(name, at(when), tried()));
        }
        round
    };
    for name in ["Alder", "Rush", "Willow", "Fern", "Moss", "Thistle", "Yarrow"] {
        quill.house.otter(&quill.park, name).await;
    }
    // The first raise learns the types, and the first change does.
    quill.weigh(refuse(&["Teasel"], 20)).await;
    quill.weigh(refuse(&["Teasel"], 10)).await;
    let one = ["Alder"];
    let many = ["Rush", "Willow", "Fern", "Moss", "Thistle", "Yarrow"];
    let raise_one = statements(&quill, &tap, refuse(&one, 20)).await;
    let raise_many = statements(&quill, &tap, refuse(&many, 20)).await;
    let change_one = statements(&quill, &tap, refuse(&one, 10)).await;
    let change_many = statements(&quill, &tap, refuse(&many, 10)).await;
    assert_eq!(quill.concerns(false).await.len(), 8);
    assert_eq!((raise_many, change_many), (raise_one, change_one));
    quill.house.close().await;
}
