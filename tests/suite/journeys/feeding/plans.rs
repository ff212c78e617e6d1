//! Plans stand from a day on, and are held against what the members need.

use super::{Kitchen, near};
use chrono::TimeDelta;
use holt_proto::v1::{self, NeedUnknown, RationVerdict};

/// 70 · 8^0.75 = 332.978 and 70 · 7^0.75 = 301.246 kcal at rest; times 1.4 and 2.0, summed: 887.914 to 1268.448.
#[tokio::test]
async fn a_plan_is_held_against_the_sum_of_needs() {
    let kitchen = Kitchen::new().await;
    kitchen.weigh("Bramble", 8000).await;
    kitchen.weigh("Sedge", 7000).await;
    let set = kitchen.set(kitchen.plan()).await.unwrap();
    let (plan, need, planned) = (set.plan.unwrap(), set.need.unwrap(), set.planned.unwrap());
    let times: Vec<_> = plan.feeds.iter().map(|feed| (&*feed.time_of_day, &*feed.food)).collect();
    assert_eq!(times, [("06:30", "Trout"), ("15:00", "Sprats")], "by time of day, by their names");
    assert!(near(plan.kcal, 930.0) && near(plan.enrichment_kcal, 450.0), "{plan:?}");
    assert!(near(need.low_kcal, 887.914) && near(need.high_kcal, 1268.448), "{need:?}");
    assert_eq!((need.members.len(), need.uncounted.len()), (2, 0));
    assert_eq!(planned.verdict(), RationVerdict::Fits, "with what is kept for enrichment");
    let mut less = kitchen.plan();
    less.feeds.remove(0);
    let short = kitchen.set(less).await.unwrap().planned.unwrap();
    assert_eq!(short.verdict(), RationVerdict::Short);
    // 480 of at least 887.914.
    assert!(near(short.off_percent, 45.941), "{}", short.off_percent);
    kitchen.house.close().await;
}

#[tokio::test]
async fn who_was_never_weighed_is_told_and_not_guessed() {
    let kitchen = Kitchen::new().await;
    kitchen.weigh("Bramble", 8000).await;
    let set = kitchen.set(kitchen.plan()).await.unwrap();
    let need = set.need.unwrap();
    assert!(near(need.low_kcal, 466.169), "{need:?}");
    let uncounted: Vec<_> = need
        .uncounted
        .iter()
        .map(|one| (one.animal.as_ref().unwrap().house_name.as_str(), one.because()))
        .collect();
    assert_eq!(uncounted, [("Sedge", NeedUnknown::NeverWeighed)]);
    // 930 would be far over what Bramble needs, and may be short for both.
    assert_eq!(set.planned.unwrap().verdict(), RationVerdict::Unspecified);
    let mut less = kitchen.plan();
    less.feeds.truncate(1);
    less.feeds[0].mass = super::grams(100);
    let short = kitchen.set(less).await.unwrap().planned.unwrap();
    assert_eq!(short.verdict(), RationVerdict::Short, "short for one is short for both");
    kitchen.house.close().await;
}

#[tokio::test]
async fn each_day_has_the_plan_that_stood_and_was_known() {
    let kitchen = Kitchen::new().await;
    let from = |plan: v1::SetFeedPlanRequest, day| v1::SetFeedPlanRequest { begins_on: Some(day), ..plan };
    kitchen.set(from(kitchen.plan(), kitchen.days_ago(10))).await.unwrap();
    let then = kitchen.now();
    kitchen.house.clock.advance(TimeDelta::minutes(5));
    let mut less = from(kitchen.plan(), kitchen.days_ago(3));
    less.feeds.truncate(1);
    kitchen.set(less).await.unwrap();
    let nothing = v1::SetFeedPlanRequest { feeds: vec![], ..from(kitchen.plan(), kitchen.days_ago(-2)) };
    kitchen.set(nothing).await.unwrap();
    let feeds = async |known, ago| {
        let told = kitchen.account_of(known, Some(kitchen.days_ago(ago))).await;
        told.plan.map(|plan| plan.feeds.len())
    };
    assert_eq!(feeds(None, 11).await, None);
    assert_eq!((feeds(None, 10).await, feeds(None, 4).await), (Some(2), Some(2)));
    assert_eq!((feeds(None, 3).await, feeds(None, 0).await), (Some(1), Some(1)));
    assert_eq!(feeds(Some(then), 0).await, Some(2), "as was known before it was changed");
    kitchen.house.clock.advance(TimeDelta::days(2));
    assert_eq!(feeds(None, 0).await, Some(0));
    assert_eq!(kitchen.account(None).await.planned.unwrap().verdict(), RationVerdict::Unspecified);
    kitchen.house.close().await;
}

#[tokio::test]
async fn a_plan_can_be_tried_first() {
    let kitchen = Kitchen::new().await;
    kitchen.weigh("Bramble", 8000).await;
    kitchen.weigh("Sedge", 7000).await;
    let tried = kitchen.set(v1::SetFeedPlanRequest { validate_only: true, ..kitchen.plan() }).await.unwrap();
    assert_eq!(tried.planned.unwrap().verdict(), RationVerdict::Fits);
    assert_eq!(kitchen.account(None).await.plan, None);
    kitchen.house.close().await;
}
