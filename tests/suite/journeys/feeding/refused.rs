//! What cannot be is refused, all of it at once, and nothing is recorded.

use super::{Kitchen, WEIR, grams};
use crate::journeys::registration::fields;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::reason;
use tonic::Code;

#[tokio::test]
async fn fields_are_told_at_once() {
    let kitchen = Kitchen::new().await;
    let wrong = v1::NewFeed {
        to: None,
        food: String::new(),
        given: grams(100),
        left: grams(101),
        lasted_minutes: Some(-1),
        ..Default::default()
    };
    let refused = kitchen.give(vec![kitchen.trout(1, grams(0)), wrong]).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
    assert_eq!(
        fields(&refused),
        [
            "feeds[0].given",
            "feeds[1].to",
            "feeds[1].left",
            "feeds[1].food",
            "feeds[1].method",
            "feeds[1].lasted_minutes"
        ]
    );
    let mut plan = kitchen.plan();
    plan.feeds[0].time_of_day = "3pm".to_owned();
    plan.feeds[1].method = 0;
    let refused = kitchen.set(plan).await.unwrap_err();
    assert_eq!(fields(&refused), ["feeds[0].time_of_day", "feeds[1].method"]);
    // Energy in kJ is told by its size: fat, which has most, has about 9.4 kcal in a gram.
    for kcal in [14.2, -0.1, f64::NAN] {
        assert_eq!(fields(&kitchen.food("Suet", kcal).await.unwrap_err()), ["kcal_per_g"]);
    }
    assert!(kitchen.account(None).await.feeds.is_empty());
    kitchen.house.close().await;
}

#[tokio::test]
async fn what_is_not_on_record_is_named() {
    let kitchen = Kitchen::new().await;
    let unknown = |food: &str| v1::NewFeed { food: food.to_owned(), ..kitchen.trout(1, grams(100)) };
    let feeds = vec![unknown("Eel"), kitchen.trout(1, grams(100)), unknown("Roach")];
    let refused = kitchen.give(feeds).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    assert_eq!(fields(&refused), ["feeds[0].food", "feeds[2].food"]);
    let to = |to| v1::NewFeed { to: Some(to), ..kitchen.trout(1, grams(100)) };
    for wrong in [v1::new_feed::To::Group("Nobody".into()), v1::new_feed::To::Animal("Nobody".into())] {
        assert_eq!(reason(&kitchen.give(vec![to(wrong)]).await.unwrap_err()), "NOT_FOUND");
    }
    assert!(kitchen.account(None).await.feeds.is_empty(), "nor what was right beside it");
    kitchen.house.close().await;
}

#[tokio::test]
async fn nobody_is_fed_in_the_future_or_before_they_came() {
    let kitchen = Kitchen::new().await;
    let refused = kitchen.give(vec![kitchen.trout(-1, grams(100))]).await.unwrap_err();
    assert_eq!(
        (reason(&refused).as_str(), fields(&refused)),
        ("IN_THE_FUTURE", vec!["feeds[0].given_at".into()])
    );
    let long_ago = v1::NewFeed {
        given_at: Some(timestamp(kitchen.now() - TimeDelta::days(4000))),
        ..kitchen.trout(1, grams(100))
    };
    // By its identifier, for it had no name then.
    let ask =
        v1::GetAnimalRequest { site: "QUI".to_owned(), animal: "Sedge".to_owned(), ..Default::default() };
    let sedge = kitchen.park.auditor.client.animals().get_animal(ask).await.unwrap();
    let id = sedge.into_inner().animal.unwrap().id;
    let refused = kitchen.give(vec![kitchen.alone(&id, long_ago)]).await.unwrap_err();
    assert_eq!(
        (reason(&refused).as_str(), fields(&refused)),
        ("ANIMAL_NOT_HELD_THEN", vec!["feeds[0].animal".into()])
    );
    kitchen.house.close().await;
}

#[tokio::test]
async fn no_more_is_left_than_was_given() {
    let kitchen = Kitchen::new().await;
    let given = kitchen.give(vec![kitchen.trout(1, grams(400))]).await.unwrap().remove(0);
    let refused = kitchen.left(&given, grams(401)).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), fields(&refused)), ("MALFORMED", vec!["left".into()]));
    assert_eq!(fields(&kitchen.left(&given, None).await.unwrap_err()), ["left"]);
    kitchen.house.close().await;
}

#[tokio::test]
async fn another_site_feeds_nobody_here() {
    let kitchen = Kitchen::new().await;
    let brae = kitchen.house.park("BRA", "Europe/Dublin").await;
    let given = kitchen.give(vec![kitchen.trout(1, grams(400))]).await.unwrap().remove(0);
    let ask = v1::RecordLeftoversRequest {
        request_id: kitchen.house.request(),
        site: "BRA".to_owned(),
        feed_id: given.id,
        left: grams(0),
        lasted_minutes: None,
    };
    let refused = brae.keeper.client.feeding().record_leftovers(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let show = v1::GetFeedingRequest { site: "BRA".to_owned(), group: WEIR.to_owned(), ..Default::default() };
    let refused = brae.keeper.client.feeding().get_feeding(show).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    kitchen.house.close().await;
}
