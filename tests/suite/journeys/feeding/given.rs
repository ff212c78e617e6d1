//! What was given is on record once, with what was left of it.

use super::{Kitchen, grams, near};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::reason;

#[tokio::test]
async fn eaten_is_given_without_what_was_left() {
    let kitchen = Kitchen::new().await;
    let feed = v1::NewFeed { lasted_minutes: Some(25), ..kitchen.trout(1, grams(400)) };
    let given = kitchen.give(vec![feed]).await.unwrap().remove(0);
    assert!(near(given.given_kcal, 480.0), "{given:?}");
    assert_eq!((given.left, given.eaten_kcal), (None, None), "nobody has looked");
    let left = kitchen.left(&given, grams(100)).await.unwrap();
    assert_eq!((left.id.clone(), left.lasted_minutes), (given.id.clone(), Some(25)));
    assert!(near(left.eaten_kcal.unwrap(), 360.0), "{left:?}");
    // Somebody looked again.
    let nothing = kitchen.left(&given, grams(0)).await.unwrap();
    assert!(near(nothing.eaten_kcal.unwrap(), 480.0), "{nothing:?}");
    assert_eq!(kitchen.account(None).await.feeds.len(), 1, "one record of it");
    kitchen.house.close().await;
}

#[tokio::test]
async fn what_is_sent_again_is_given_once() {
    let kitchen = Kitchen::new().await;
    let ask = kitchen.record(vec![kitchen.trout(1, grams(400)), kitchen.trout(0, grams(10))]);
    let client = kitchen.park.keeper.client.feeding();
    let first = client.clone().record_feeds(ask.clone()).await.unwrap().into_inner();
    let again = client.clone().record_feeds(ask).await.unwrap().into_inner();
    assert_eq!(first, again);
    assert_eq!(first.feeds.iter().map(|feed| feed.given).collect::<Vec<_>>(), [grams(400), grams(10)]);
    assert_eq!(kitchen.account(None).await.feeds.len(), 2);
    kitchen.house.close().await;
}

#[tokio::test]
async fn a_record_that_is_taken_back_stays_known_as_it_was() {
    let kitchen = Kitchen::new().await;
    let given = kitchen.give(vec![kitchen.trout(1, grams(400))]).await.unwrap().remove(0);
    let then = kitchen.now();
    kitchen.house.clock.advance(TimeDelta::minutes(5));
    let ask = || v1::WithdrawFeedRequest {
        request_id: kitchen.house.request(),
        site: "QUI".to_owned(),
        feed_id: given.id.clone(),
        because: "of another day".to_owned(),
    };
    let client = kitchen.park.keeper.client.feeding();
    client.clone().withdraw_feed(ask()).await.unwrap();
    let refused = client.clone().withdraw_feed(ask()).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    assert_eq!(reason(&kitchen.left(&given, grams(0)).await.unwrap_err()), "NOT_FOUND");
    assert!(kitchen.account(None).await.feeds.is_empty());
    assert_eq!(kitchen.account(Some(then)).await.feeds.len(), 1);
    kitchen.house.close().await;
}

/// What is said of a food holds for all that was given of it, and what was known of it before stays known.
#[tokio::test]
async fn another_energy_is_another_sum() {
    let kitchen = Kitchen::new().await;
    kitchen.give(vec![kitchen.trout(1, grams(400))]).await.unwrap();
    let then = kitchen.now();
    kitchen.house.clock.advance(TimeDelta::minutes(5));
    let set = kitchen.food("TROUT", 1.5).await.unwrap();
    assert!(set.changed);
    let kcal = async |known| kitchen.account(known).await.feeds[0].given_kcal;
    assert!(near(kcal(None).await, 600.0) && near(kcal(Some(then)).await, 480.0));
    let foods = v1::ListFoodsRequest { site: "QUI".to_owned(), as_known_at: Some(timestamp(then)) };
    let foods = kitchen.park.auditor.client.feeding().list_foods(foods).await.unwrap().into_inner().foods;
    let told: Vec<_> = foods.iter().map(|food| (food.name.as_str(), food.kcal_per_g)).collect();
    assert_eq!(told, [("Sprats", 1.5), ("Trout", 1.2)]);
    kitchen.house.close().await;
}

#[tokio::test]
async fn many_who_name_a_food_at_once_make_one() {
    let kitchen = Kitchen::new().await;
    let writers = (0..6).map(|n| {
        let ask = v1::SetFoodRequest {
            request_id: kitchen.house.request(),
            site: "QUI".to_owned(),
            name: "Eel".to_owned(),
            kcal_per_g: 1.0 + f64::from(n) / 10.0,
            source: "invented for tests".to_owned(),
            ..Default::default()
        };
        let mut client = kitchen.park.registrar.client.feeding();
        tokio::spawn(async move { client.set_food(ask).await.unwrap().into_inner() })
    });
    let mut ids = Vec::new();
    for writer in writers.collect::<Vec<_>>() {
        ids.push(writer.await.unwrap().food.unwrap().id);
    }
    ids.dedup();
    assert_eq!(ids.len(), 1, "{ids:?}");
    kitchen.house.close().await;
}
