//! A house that is too cold and a device that is silent become concerns by themselves: once, and until people
//! settle them.

use super::Heated;
use chrono::TimeDelta;
use holt_proto::v1::{self, ConcernKind, ConcernLevel};
use holt_server::records::alarms;

async fn concerns(heated: &Heated) -> Vec<v1::Concern> {
    let ask = v1::ListConcernsRequest { site: "QUI".to_owned(), ..Default::default() };
    heated.quill.keeper.client.concerns().list_concerns(ask).await.unwrap().into_inner().concerns
}

async fn settle(heated: &Heated, concern: &v1::Concern) {
    let ask = v1::SettleConcernRequest {
        request_id: heated.house.request(),
        site: "QUI".to_owned(),
        concern_id: concern.id.clone(),
        because: "the heater is out for repair, they sleep in the barn".to_owned(),
        ..Default::default()
    };
    heated.quill.keeper.client.concerns().settle_concern(ask).await.unwrap();
}

#[tokio::test]
async fn a_house_that_cools_is_told_once_worse_and_over() {
    let heated = Heated::new().await;
    let look = async || alarms::watch(&heated.house.records).await.unwrap();
    heated.record(heated.readings(&[(20, 19.5), (10, 18.9), (0, 18.4)])).await.unwrap();
    assert_eq!((look().await, look().await), (1, 0), "what is told is not told again");
    let told = concerns(&heated).await.remove(0);
    assert_eq!((told.kind(), told.level()), (ConcernKind::Climate, ConcernLevel::Act));
    assert_eq!(
        (told.device.as_str(), told.enclosure.as_str(), told.animal_id.as_str()),
        ("Burrow lamp", "Burrow House", "")
    );
    assert!(told.seen.contains("below 20 °C since 05:40 on 2026-03-02: 18.4 °C"), "{}", told.seen);
    // A little colder is the same matter; much colder cannot wait.
    heated.house.clock.advance(TimeDelta::minutes(10));
    heated.record(heated.readings(&[(0, 17.9)])).await.unwrap();
    assert_eq!(look().await, 0);
    heated.house.clock.advance(TimeDelta::minutes(10));
    heated.record(heated.readings(&[(0, 15.8)])).await.unwrap();
    assert_eq!(look().await, 1);
    let worse = concerns(&heated).await.remove(0);
    assert_eq!(
        (worse.id.as_str(), worse.level(), worse.version),
        (told.id.as_str(), ConcernLevel::Urgent, 2)
    );
    // Warm again for long enough: people settle it.
    heated.house.clock.advance(TimeDelta::minutes(40));
    heated.record(heated.readings(&[(25, 21.0), (10, 21.0), (0, 21.0)])).await.unwrap();
    assert_eq!((look().await, look().await), (1, 0));
    let over = concerns(&heated).await.remove(0);
    assert_eq!(
        (over.level(), over.seen.as_str()),
        (ConcernLevel::Watch, "Burrow lamp in Burrow House reads within its range again.")
    );
    settle(&heated, &over).await;
    assert_eq!((look().await, concerns(&heated).await.len()), (0, 0));
    heated.house.close().await;
}

#[tokio::test]
async fn what_people_settled_while_it_went_on_is_known_to_them_and_what_comes_later_is_new() {
    let heated = Heated::new().await;
    let look = async || alarms::watch(&heated.house.records).await.unwrap();
    heated.record(heated.readings(&[(10, 21.0), (0, 21.0)])).await.unwrap();
    heated.house.clock.advance(TimeDelta::minutes(29));
    assert_eq!(look().await, 0);
    heated.house.clock.advance(TimeDelta::minutes(2));
    assert_eq!(look().await, 1);
    let silent = concerns(&heated).await.remove(0);
    assert_eq!(silent.kind(), ConcernKind::DeviceSilent);
    settle(&heated, &silent).await;
    heated.house.clock.advance(TimeDelta::days(5));
    assert_eq!((look().await, concerns(&heated).await.len()), (0, 0), "five days of the same silence");
    heated.record(heated.readings(&[(0, 21.0)])).await.unwrap();
    heated.house.clock.advance(TimeDelta::minutes(31));
    assert_eq!((look().await, concerns(&heated).await.len()), (1, 1), "another silence");
    // A device that is taken away is silent for good reason.
    let retire = v1::RetireDeviceRequest {
        request_id: heated.house.request(),
        site: "QUI".to_owned(),
        device: "Burrow lamp".to_owned(),
        because: "its battery leaks".to_owned(),
    };
    heated.quill.registrar.client.climate().retire_device(retire).await.unwrap();
    assert_eq!((look().await, concerns(&heated).await.len()), (0, 0));
    heated.house.close().await;
}

#[tokio::test]
async fn of_two_servers_that_look_at_once_one_tells() {
    let heated = Heated::new().await;
    heated.record(heated.readings(&[(20, 15.0), (0, 15.0)])).await.unwrap();
    let records = &heated.house.records;
    let told = futures::future::join_all((0..4).map(|_| alarms::watch(records))).await;
    let told: usize = told.into_iter().map(Result::unwrap).sum();
    assert_eq!((told, concerns(&heated).await.len()), (1, 1));
    heated.house.close().await;
}
