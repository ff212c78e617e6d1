//! An animal is pressed week after week: a concern comes of it with the watch that shows it, with every
//! piece of evidence, and nobody else is named.

use super::{NAMES, Weir, did, food, of, over_food, scan};
use chrono::TimeDelta;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use holt_proto::v1::{ConcernKind, ConcernLevel, ConcernState, ExclusionKind};
use holt_server::clock::Clock;
use holt_tests::reason;

/// Days of a calm past, and days after which Sedge is pressed.
const PAST: i64 = 84;

impl Weir {
    /// Some days go by, and the family is watched for the half hour until now.
    pub(super) async fn next(&self, days: i64, seen: Vec<(i64, What)>) -> v1::RecordWatchResponse {
        self.house.clock.advance(TimeDelta::days(days));
        let began = self.house.clock.now() - TimeDelta::minutes(30);
        self.record(self.watch(began, seen)).await.unwrap()
    }

    pub(super) async fn calm_past(&self) {
        for n in 0..PAST / 4 {
            let answer = self.next(4, calm(usize::try_from(n).unwrap())).await;
            assert_eq!(answer.concerns, [], "a calm past");
        }
    }

    async fn concerns(&self, include_settled: bool) -> Vec<v1::Concern> {
        let list = v1::ListConcernsRequest { site: "QUI".into(), include_settled, ..Default::default() };
        self.park.auditor.client.concerns().list_concerns(list).await.unwrap().into_inner().concerns
    }
}

/// A morning on which nothing much happens: one drives another, one is by itself, each in turn.
fn calm(n: usize) -> Vec<(i64, What)> {
    let (one, other) = (NAMES[n % 6], NAMES[(n + 1 + n / 6) % 6]);
    let alone = NAMES[(n + 3) % 6];
    let together = NAMES.iter().filter(|name| **name != alone).map(|name| (*name, "rest", 1));
    let looks: Vec<_> = together.chain([(alone, "alone", 0)]).collect();
    vec![(2, did(one, "chase", other)), (5, food()), (15, scan(&looks)), (25, scan(&looks))]
}

/// A morning on which Sedge is driven from all sides, kept off its food and left alone.
pub(super) fn pressed() -> Vec<(i64, What)> {
    let together = ["Bramble", "Alder", "Teasel", "Rush", "Willow"].map(|name| (name, "rest", 1));
    let looks: Vec<_> = together.into_iter().chain([("Sedge", "alone", 0)]).collect();
    vec![
        (1, did("Bramble", "chase", "Sedge")),
        (2, did("Alder", "bite", "Sedge")),
        (5, food()),
        (6, over_food("Bramble", "displace", "Sedge")),
        (8, did("Teasel", "chase", "Sedge")),
        (15, scan(&looks)),
        (25, scan(&looks)),
    ]
}

#[tokio::test]
async fn it_is_raised_with_the_watch_that_shows_it_and_carried_on() {
    let weir = Weir::new().await;
    weir.calm_past().await;
    let mut told: Vec<v1::Concern> = Vec::new();
    for _ in 0..8 {
        told.extend(weir.next(2, pressed()).await.concerns);
    }
    let first = told.first().expect("pressed for two weeks");
    assert_eq!((first.kind(), first.state()), (ConcernKind::PushedOut, ConcernState::Raised));
    assert_eq!(first.house_name, "Sedge");
    let last = told.last().unwrap();
    assert_eq!(last.level(), ConcernLevel::Act);
    for words in [
        "is at risk of being driven out of Weir family",
        "kept off food at 8 of 10 feeds",
        "grown or growing up beside Bramble",
    ] {
        assert!(last.seen.contains(words), "{words}: {}", last.seen);
    }
    assert!(last.seen.contains("Not known: weight compared with the group"), "{}", last.seen);
    assert!(last.look_first.contains("Separation is the last step"), "{}", last.look_first);
    let figure = |name: &str| last.figures.iter().find(|figure| figure.name == name).unwrap().value;
    assert!((figure("aggression received") - 32.0).abs() < 1e-9 && figure("aggression expected") < 8.0);
    assert_eq!(last.record_ids.len(), 10, "the watches of the last three weeks");
    let open = weir.concerns(false).await;
    let [only] = open.as_slice() else { panic!("{open:?}") };
    assert!(told.iter().all(|concern| concern.id == only.id), "one name for it");

    let standing = weir.standing().await;
    let out = &standing.pushed_out[0];
    assert_eq!(out.animal.as_ref().unwrap().house_name, "Sedge");
    assert_eq!((out.level(), out.certainty()), (ConcernLevel::Act, v1::Confidence::High));
    assert_eq!(out.missing().collect::<Vec<_>>(), [ExclusionKind::Weight]);
    assert!(
        out.parts.is_sorted_by(|a, b| a.adds >= b.adds) && out.parts.iter().all(|part| !part.seen.is_empty())
    );
    assert!(standing.pushed_out[1..].iter().all(|other| other.level() == ConcernLevel::Unspecified));
    assert_eq!(of(&standing, "Sedge").kept_off_food.unwrap().hits, 8);
    weir.house.close().await;
}

#[tokio::test]
async fn what_people_settled_stays_settled_while_it_is_no_worse() {
    let weir = Weir::new().await;
    weir.calm_past().await;
    for _ in 0..8 {
        weir.next(2, pressed()).await;
    }
    let open = weir.concerns(false).await;
    let settle = v1::SettleConcernRequest {
        request_id: weir.house.request(),
        site: "QUI".to_owned(),
        concern_id: open[0].id.clone(),
        because: "fed at three places from today on".to_owned(),
        ..Default::default()
    };
    weir.park.keeper.client.concerns().settle_concern(settle).await.unwrap();
    assert_eq!(weir.next(1, pressed()).await.concerns, []);
    assert_eq!(weir.concerns(false).await, []);
    weir.house.clock.advance(TimeDelta::days(14));
    let mut again = Vec::new();
    for _ in 0..6 {
        again.extend(weir.next(2, pressed()).await.concerns);
    }
    assert_ne!(again.first().expect("three weeks after it was settled").id, open[0].id);
    weir.house.close().await;
}

#[tokio::test]
async fn it_goes_quiet_when_the_group_is_calm_again() {
    let weir = Weir::new().await;
    weir.calm_past().await;
    for _ in 0..8 {
        weir.next(2, pressed()).await;
    }
    let mut last = Vec::new();
    for n in 0..14 {
        last.extend(weir.next(2, calm(n)).await.concerns);
    }
    let last = last.last().expect("it is told once that it is over");
    assert!(last.seen.contains("nobody saw signs that"), "{}", last.seen);
    assert_eq!((last.level(), last.state()), (ConcernLevel::Watch, ConcernState::Raised), "people settle it");
    weir.house.close().await;
}

/// Facts alone, and little seen, raise nothing.
#[tokio::test]
async fn what_is_not_known_raises_nothing() {
    let weir = Weir::new().await;
    let answer =
        weir.next(1, vec![(1, did("Bramble", "chase", "Sedge")), (2, did("Alder", "chase", "Sedge"))]).await;
    assert_eq!(answer.concerns, []);
    let standing = weir.standing().await;
    assert!(standing.pushed_out.iter().all(|one| one.level() == ConcernLevel::Unspecified));
    let sedge =
        standing.pushed_out.iter().find(|one| one.animal.as_ref().unwrap().house_name == "Sedge").unwrap();
    assert_eq!(sedge.certainty(), v1::Confidence::Low);
    weir.house.close().await;
}

/// A watch that runs raises nothing yet; a watch that is only checked would, and writes nothing.
#[tokio::test]
async fn it_is_raised_in_the_write_that_ends_the_watch() {
    let weir = Weir::new().await;
    weir.calm_past().await;
    for _ in 0..3 {
        weir.next(2, pressed()).await;
    }
    while weir.concerns(false).await.is_empty() {
        weir.house.clock.advance(TimeDelta::days(1));
        let began = weir.house.clock.now() - TimeDelta::minutes(30);
        let whole = weir.watch(began, pressed());
        let mut running = whole.clone();
        running.events.pop();
        assert_eq!(weir.record(running).await.unwrap().concerns, [], "it runs");
        let ended = v1::RecordWatchRequest { request_id: weir.house.request(), ..whole };
        let checked =
            v1::RecordWatchRequest { validate_only: true, request_id: weir.house.request(), ..ended.clone() };
        let would = weir.record(checked).await.unwrap().concerns;
        assert_eq!(weir.concerns(false).await, [], "checked only");
        let did = weir.record(ended).await.unwrap().concerns;
        assert_eq!(would.len(), did.len());
    }
    let concern = weir.concerns(false).await.remove(0);
    let take_up = v1::TakeUpConcernRequest {
        request_id: weir.house.request(),
        site: "QUI".to_owned(),
        concern_id: concern.id,
        note: String::new(),
        version: 9,
    };
    let refused = weir.park.keeper.client.concerns().take_up_concern(take_up).await.unwrap_err();
    assert_eq!(reason(&refused), "VERSION_PASSED");
    weir.house.close().await;
}
