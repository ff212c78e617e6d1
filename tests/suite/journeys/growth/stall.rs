//! A young animal that gains no more is raised, though it loses nothing.

use super::Nursery;
use chrono::{NaiveDate, TimeDelta};
use holt_proto::v1::{self, ConcernKind, ConcernLevel};
use holt_server::clock::Clock;

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
    let first = nursery.house.clock.now();
    for (week, fern) in growing.into_iter().enumerate() {
        let at = first + TimeDelta::weeks(i64::try_from(week).unwrap());
        nursery.house.clock.set(at);
        let pip = if week < 6 { fern - 20 } else { 1180 };
        nursery.weigh(&[("Pip", at, pip), ("Fern", at, fern)]).await;
        if week >= 6 {
            again("Pip", pip).await;
        }
        let told = concerns().await;
        assert_eq!(told.len(), usize::from(week >= 6), "week {week}: {told:?}");
    }
    let told = concerns().await.remove(0);
    assert_eq!(
        (told.kind(), told.level(), told.house_name.as_str()),
        (ConcernKind::Growth, ConcernLevel::Act, "Pip")
    );
    assert!(told.seen.contains("gains less than expected since 2026-04-"), "{}", told.seen);
    // It gains again, and makes up for it.
    for (week, pip) in [(9, 1450), (10, 1800), (11, 2100)] {
        let at = first + TimeDelta::weeks(week);
        nursery.house.clock.set(at);
        nursery.weigh(&[("Pip", at, pip)]).await;
        again("Pip", pip).await;
    }
    let quiet = concerns().await.remove(0);
    assert_eq!((&quiet.id, quiet.level()), (&told.id, ConcernLevel::Watch));
    assert!(quiet.seen.contains("as expected again"), "{}", quiet.seen);
    nursery.house.close().await;
}

/// It is as good as grown, by what a grown one that it lives with weighs: nobody is told that its growth ends.
#[tokio::test]
async fn one_that_is_as_good_as_grown_is_not_raised() {
    let nursery = Nursery::new().await;
    let (house, registrar) = (&nursery.house, &nursery.park.registrar.client);
    nursery.born("Pip", "2026-01-05".parse().unwrap()).await;
    let grown = v1::RegisterArrivalRequest {
        born_on: Some("2021-05-05".parse().unwrap()),
        ..house.arrival(&nursery.park, "Sedge", "2025-03-01".parse().unwrap())
    };
    registrar.animals().register_arrival(grown).await.unwrap();
    let together = v1::PlaceAnimalsRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animals: vec!["Pip".to_owned(), "Sedge".to_owned()],
        enclosure: "Weir Pool".to_owned(),
        ..Default::default()
    };
    house.enclosure(&nursery.park, "Weir Pool").await;
    registrar.placements().place_animals(together).await.unwrap();
    let first = house.clock.now();
    for (week, grams) in [700, 778, 866, 960, 1069, 1188, 1180, 1180, 1180].into_iter().enumerate() {
        let at = first + TimeDelta::weeks(i64::try_from(week).unwrap());
        house.clock.set(at);
        nursery.weigh(&[("Pip", at, grams), ("Sedge", at, 1370)]).await;
        // Far from what was expected, it is weighed a second time.
        house.clock.advance(TimeDelta::minutes(10));
        nursery.weigh(&[("Pip", house.clock.now(), grams)]).await;
    }
    let ask = v1::ListConcernsRequest { site: "QUI".to_owned(), ..Default::default() };
    let told = nursery.park.keeper.client.concerns().list_concerns(ask).await.unwrap().into_inner().concerns;
    assert_eq!(told, []);
    nursery.house.close().await;
}
