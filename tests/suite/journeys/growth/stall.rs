//! A young animal that gains no more is raised, though it loses nothing.

use super::Nursery;
use chrono::{NaiveDate, TimeDelta};
use holt_proto::v1::{self, ConcernKind, ConcernLevel};
use holt_server::clock::Clock;
use holt_tests::house::start_of_time;

const NAMES: [&str; 2] = ["Pip", "Fern"];

#[tokio::test]
async fn one_that_stops_gaining_is_raised_once_and_its_sibling_is_not() {
    let nursery = Nursery::new().await;
    let born: NaiveDate = "2026-01-05".parse().unwrap();
    for name in NAMES {
        nursery.born(name, born).await;
    }
    let concerns = async || {
        let ask = v1::ListConcernsRequest { site: "QUI".to_owned(), ..Default::default() };
        nursery.park.keeper.client.concerns().list_concerns(ask).await.unwrap().into_inner().concerns
    };
    // Far from what was expected, it is weighed a second time.
    let again = async |name: &str, grams: i64| {
        nursery.house.clock.advance(TimeDelta::minutes(10));
        nursery.weigh(&[(name, nursery.house.clock.now(), grams)]).await;
    };
    // Weekly from four weeks of age on; Fern gains a ninth each week, Pip stops after the sixth weighing.
    let growing = [700, 778, 866, 960, 1069, 1188, 1320, 1467, 1630];
    for (week, fern) in growing.into_iter().enumerate() {
        let at = start_of_time() + TimeDelta::weeks(i64::try_from(week).unwrap());
        nursery.house.clock.set(at);
        let pip = if week < 6 { fern - 20 } else { 1180 };
        nursery.weigh(&[("Pip", at, pip), ("Fern", at, fern)]).await;
        if week >= 6 {
            again("Pip", pip).await;
        }
        let told = concerns().await;
        assert_eq!(told.len(), usize::from(week >= 7), "week {week}: {told:?}");
    }
    let told = concerns().await.remove(0);
    assert_eq!(
        (told.kind(), told.level(), told.house_name.as_str()),
        (ConcernKind::Growth, ConcernLevel::Act, "Pip")
    );
    assert!(
        told.seen.contains("its last 3 weighings all fall short") && told.seen.contains("from 2026-04-13 on"),
        "{}",
        told.seen
    );
    // It gains again.
    for (week, pip) in [(9, 1400), (10, 1700), (11, 1900)] {
        let at = start_of_time() + TimeDelta::weeks(week);
        nursery.house.clock.set(at);
        nursery.weigh(&[("Pip", at, pip)]).await;
        again("Pip", pip).await;
    }
    let quiet = concerns().await.remove(0);
    assert_eq!((&quiet.id, quiet.level()), (&told.id, ConcernLevel::Watch));
    assert!(quiet.seen.contains("gains again"), "{}", quiet.seen);
    nursery.house.close().await;
}
