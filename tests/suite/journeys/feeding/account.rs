//! Sums of days: what was given, what was eaten, and by whom alone.

use super::{Kitchen, WEIR, grams, near};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, RationVerdict};

#[tokio::test]
async fn a_groups_intake_is_the_groups_and_an_animals_own_is_what_it_had_alone() {
    let kitchen = Kitchen::new().await;
    kitchen.weigh("Bramble", 8000).await;
    kitchen.weigh("Sedge", 7000).await;
    let sprats = v1::NewFeed {
        food: "Sprats".to_owned(),
        as_enrichment: true,
        left: grams(0),
        ..kitchen.trout(2, grams(100))
    };
    let own = v1::NewFeed { left: grams(50), ..kitchen.alone("Sedge", kitchen.trout(1, grams(200))) };
    kitchen.give(vec![kitchen.trout(3, grams(400)), sprats, own]).await.unwrap();
    let told = kitchen.account(None).await;
    let today = told.days.last().unwrap();
    // 480 + 150 + 240.
    assert!(near(today.given_kcal, 870.0) && near(today.enrichment_kcal, 150.0), "{today:?}");
    assert_eq!((today.feeds, today.not_looked_at, today.eaten_kcal), (3, 1, None));
    assert_eq!(today.alone.len(), 1, "nothing of the group's is told of Bramble");
    let alone = &today.alone[0];
    assert_eq!(alone.animal.as_ref().unwrap().house_name, "Sedge");
    assert!(near(alone.given_kcal, 240.0) && near(alone.eaten_kcal.unwrap(), 180.0), "{alone:?}");
    let weighed: Vec<_> = today.weighed.iter().map(|one| one.mass.unwrap().milligrams).collect();
    assert_eq!(weighed, [8_000_000, 7_000_000]);
    let list =
        v1::ListFeedsRequest { site: "QUI".to_owned(), animal: "Sedge".to_owned(), ..Default::default() };
    let list = kitchen.park.auditor.client.feeding().list_feeds(list).await.unwrap().into_inner().feeds;
    assert_eq!(list.iter().map(|feed| feed.given).collect::<Vec<_>>(), [grams(200)]);
    assert!(told.caution.contains("your vet"));
    kitchen.house.close().await;
}

/// Two days that are over: 480 kcal and 600 kcal given; what was left was looked at on the first alone.
#[tokio::test]
async fn averages_are_of_days_that_are_over_and_on_record() {
    let kitchen = Kitchen::new().await;
    kitchen.weigh("Bramble", 8000).await;
    kitchen.weigh("Sedge", 7000).await;
    let looked = v1::NewFeed { left: grams(100), ..kitchen.trout(48, grams(400)) };
    kitchen.give(vec![looked, kitchen.trout(24, grams(500)), kitchen.trout(1, grams(9000))]).await.unwrap();
    let told = kitchen.account(None).await;
    let (given, eaten) = (told.given.unwrap(), told.eaten.unwrap());
    assert!(near(given.kcal, 540.0) && near(eaten.kcal, 360.0), "{given:?} {eaten:?}");
    assert_eq!((given.verdict(), eaten.verdict()), (RationVerdict::Short, RationVerdict::Short));
    // 540 and 360 of at least 887.914.
    assert!(near(given.off_percent, 39.183) && near(eaten.off_percent, 59.455), "{given:?} {eaten:?}");
    assert_eq!(told.days.len(), 14);
    // The same day, asked about on the next, is over.
    kitchen.house.clock.advance(TimeDelta::days(1));
    let told = kitchen.account_of(None, Some(kitchen.days_ago(1))).await;
    assert!(near(told.given.unwrap().kcal, (480.0 + 600.0 + 10_800.0) / 3.0));
    kitchen.house.close().await;
}

#[tokio::test]
async fn what_an_animal_had_after_it_left_is_not_the_groups() {
    let kitchen = Kitchen::new().await;
    let leave = v1::LeaveGroupRequest {
        request_id: kitchen.house.request(),
        site: "QUI".to_owned(),
        group: WEIR.to_owned(),
        animals: vec!["Sedge".to_owned()],
        left_at: Some(timestamp(kitchen.now() - TimeDelta::hours(3))),
        why: "driven out".to_owned(),
    };
    kitchen.park.keeper.client.groups().leave_group(leave).await.unwrap();
    let before = kitchen.alone("Sedge", kitchen.trout(4, grams(100)));
    let after = kitchen.alone("Sedge", kitchen.trout(2, grams(300)));
    kitchen.give(vec![before, after]).await.unwrap();
    let today = kitchen.account(None).await.days.pop().unwrap();
    assert!(near(today.given_kcal, 120.0), "{today:?}");
    kitchen.house.close().await;
}

/// A record that was given up means the animal that it was found to be.
#[tokio::test]
async fn what_was_given_follows_a_merge() {
    let kitchen = Kitchen::new().await;
    kitchen.house.otter(&kitchen.park, "Rush").await;
    kitchen.give(vec![kitchen.alone("Rush", kitchen.trout(1, grams(250)))]).await.unwrap();
    kitchen.house.clock.advance(TimeDelta::minutes(5));
    let merge = v1::MergeAnimalsRequest {
        request_id: kitchen.house.request(),
        site: "QUI".to_owned(),
        keep: "Sedge".to_owned(),
        give_up: "Rush".to_owned(),
        because: "the same scars".to_owned(),
        ..Default::default()
    };
    kitchen.park.registrar.client.merges().merge_animals(merge).await.unwrap();
    let today = kitchen.account(None).await.days.pop().unwrap();
    assert!(near(today.given_kcal, 300.0), "{today:?}");
    assert_eq!(today.alone[0].animal.as_ref().unwrap().house_name, "Sedge");
    kitchen.house.close().await;
}
