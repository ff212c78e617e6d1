//! A watch is recorded once, however often it is sent, and may grow.

use super::{Weir, did, feeding_time, food, over_food, scan, sight};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use holt_tests::house::start_of_time;
use holt_tests::reason;

fn counts(answer: &v1::RecordWatchResponse) -> (i32, i32) {
    (answer.recorded, answer.known)
}

#[tokio::test]
async fn a_watch_is_told_as_it_was_seen() {
    let weir = Weir::new().await;
    let bout = v1::Bout { animal: "Rush".to_owned(), behaviour: "guard".to_owned(), seconds: 90 };
    let lost = v1::Interaction {
        outcome: v1::InteractionOutcome::ActorYielded.into(),
        ..match did("Teasel", "threaten", "Rush") {
            What::Interaction(one) => one,
            _ => unreachable!(),
        }
    };
    let ask = weir.watch(
        feeding_time(),
        vec![
            (2, did("Bramble", "chase", "Sedge")),
            (3, What::Interaction(lost)),
            (5, food()),
            (6, over_food("Bramble", "displace", "Sedge")),
            (8, sight("Willow", true)),
            (9, What::Bout(bout)),
            (10, sight("", true)),
            (15, sight("", false)),
            (20, scan(&[("Bramble", "rest", 1), ("Alder", "huddle", 1), ("Sedge", "alone", 0)])),
            (21, What::Remark("snow on the roof".to_owned())),
        ],
    );
    let answer = weir.record(ask.clone()).await.unwrap();
    assert_eq!(counts(&answer), (11, 0));
    let summary = answer.watch.unwrap();
    assert!((summary.minutes - 25.0).abs() < 1e-9, "without the break");
    assert_eq!((summary.group.as_str(), summary.events), ("Weir family", 11));
    assert_eq!(summary.ended_at, Some(timestamp(feeding_time() + TimeDelta::minutes(30))));

    let [watch] = &weir.watches(v1::ListWatchesRequest::default()).await[..] else { panic!() };
    assert_eq!((watch.watcher.as_str(), watch.ethogram_version), ("qui-keeper", 1));
    let id = |name: &str| watch.animals.iter().find(|one| one.house_name == name).unwrap().id.clone();
    assert_eq!(watch.animals.len(), 6);
    let wanted = did(&id("Bramble"), "chase", &id("Sedge"));
    assert_eq!(watch.events[0].what, Some(wanted));
    let numbers: Vec<i32> = watch.events.iter().map(|event| event.number).collect();
    assert_eq!(numbers, (1..=11).collect::<Vec<_>>());
    weir.house.close().await;
}

#[tokio::test]
async fn what_is_sent_again_is_known_and_what_is_new_is_added() {
    let weir = Weir::new().await;
    let whole = weir.watch(
        feeding_time(),
        vec![(2, did("Bramble", "chase", "Sedge")), (3, did("Alder", "groom", "Bramble"))],
    );
    let first = v1::RecordWatchRequest { events: whole.events[..1].to_vec(), ..whole.clone() };
    let answer = weir.record(first.clone()).await.unwrap();
    assert_eq!((counts(&answer), answer.watch.unwrap().ended_at), ((1, 0), None), "it runs");
    assert_eq!(counts(&weir.record(first).await.unwrap()), (1, 0), "the kept answer");
    let whole = v1::RecordWatchRequest { request_id: weir.house.request(), ..whole };
    assert_eq!(counts(&weir.record(whole.clone()).await.unwrap()), (2, 1));
    let again = v1::RecordWatchRequest { request_id: weir.house.request(), ..whole.clone() };
    assert_eq!(counts(&weir.record(again).await.unwrap()), (0, 3));
    assert_eq!(weir.watches(v1::ListWatchesRequest::default()).await.len(), 1);
    let checked = weir.watch(feeding_time() + TimeDelta::hours(1), vec![(1, food())]);
    let checked = v1::RecordWatchRequest { validate_only: true, ..checked };
    assert_eq!(counts(&weir.record(checked).await.unwrap()), (2, 0));
    assert_eq!(weir.watches(v1::ListWatchesRequest::default()).await.len(), 1, "checked only");
    weir.house.close().await;
}

#[tokio::test]
async fn of_many_who_send_the_same_at_once_each_event_is_recorded_once() {
    let weir = Weir::new().await;
    let minutes = (0..25).map(|minute| (minute, did("Bramble", "chase", "Sedge")));
    let ask = weir.watch(feeding_time(), minutes.collect());
    let writers = (0..6).map(|_| {
        let ask = v1::RecordWatchRequest { request_id: weir.house.request(), ..ask.clone() };
        let mut client = weir.park.keeper.client.watches();
        tokio::spawn(async move { client.record_watch(ask).await })
    });
    let mut recorded = 0;
    for writer in writers.collect::<Vec<_>>() {
        recorded += writer.await.unwrap().map_or(0, |answer| answer.into_inner().recorded);
    }
    assert_eq!(recorded, 26);
    weir.house.close().await;
}

#[tokio::test]
async fn an_event_that_was_withdrawn_counts_no_more_and_does_not_come_back() {
    let weir = Weir::new().await;
    let ask = weir.watch(feeding_time(), vec![(2, did("Bramble", "chase", "Sedge"))]);
    weir.record(ask.clone()).await.unwrap();
    let withdraw = |number| v1::WithdrawEventRequest {
        request_id: weir.house.request(),
        site: "QUI".to_owned(),
        watch_id: ask.watch_id.clone(),
        number,
        because: "it was Alder, not Sedge".to_owned(),
    };
    let mut client = weir.park.keeper.client.watches();
    let left = client.withdraw_event(withdraw(1)).await.unwrap().into_inner().watch.unwrap();
    assert_eq!(left.events, 1);
    for number in [1, 9] {
        assert_eq!(reason(&client.withdraw_event(withdraw(number)).await.unwrap_err()), "NOT_FOUND");
    }
    let again = v1::RecordWatchRequest { request_id: weir.house.request(), ..ask };
    assert_eq!(counts(&weir.record(again).await.unwrap()), (0, 2));
    assert_eq!(weir.standing().await.decided, 0);
    weir.house.close().await;
}

/// Who types a watch has seconds, and a join has microseconds.
#[tokio::test]
async fn one_that_joined_within_the_second_was_there() {
    let weir = Weir::new().await;
    let began = start_of_time() + TimeDelta::minutes(1);
    weir.house.clock.set(began + TimeDelta::milliseconds(700));
    weir.house.otter(&weir.park, "Newt").await;
    let join = v1::JoinGroupRequest {
        request_id: weir.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec!["Newt".to_owned()],
        role: v1::GroupRole::OnTrial.into(),
        joined_at: None,
    };
    weir.park.keeper.client.groups().join_group(join).await.unwrap();
    weir.house.clock.advance(TimeDelta::minutes(31));
    let seen = |when| weir.watch(when, vec![(0, did("Newt", "chase", "Sedge"))]);
    let (mut before, then) = (seen(began - TimeDelta::seconds(1)), seen(began));
    // Seen, and over, a second before it joined.
    before.events.truncate(1);
    assert_eq!(reason(&weir.record(before).await.unwrap_err()), "OBSERVATION_DOES_NOT_FIT");
    assert_eq!(counts(&weir.record(then).await.unwrap()), (2, 0));
    weir.house.close().await;
}
