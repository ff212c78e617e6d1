//! Alarms are quick, tell a silence, and do not flap.

use super::Heated;
use chrono::TimeDelta;
use holt_proto::v1::{self, ClimateMatter};

fn matters(state: &v1::DeviceState) -> Vec<ClimateMatter> {
    state.alarms.iter().map(v1::ClimateAlarm::matter).collect()
}

#[tokio::test]
async fn a_house_that_cools_is_told_and_one_that_is_warm_is_not() {
    let heated = Heated::new().await;
    let never = heated.standing().await;
    assert_eq!((never[0].latest.clone(), matters(&never[0])), (None, vec![]), "it may lie in its box yet");
    heated.record(heated.readings(&[(20, 21.0), (10, 20.5), (0, 20.2)])).await.unwrap();
    let warm = heated.standing().await;
    assert_eq!((warm[0].low, warm[0].high, matters(&warm[0])), (Some(20.0), Some(22.0), vec![]));
    heated.house.clock.advance(TimeDelta::minutes(25));
    heated.record(heated.readings(&[(20, 19.5), (10, 18.9), (0, 18.4)])).await.unwrap();
    let cold = heated.standing().await;
    assert_eq!(matters(&cold[0]), [ClimateMatter::TooLow]);
    assert!((cold[0].alarms[0].worst - 18.4).abs() < 1e-9);
    // Warm again for a few minutes: it goes on, for it hovers.
    heated.house.clock.advance(TimeDelta::minutes(10));
    heated.record(heated.readings(&[(5, 20.5), (0, 20.4)])).await.unwrap();
    assert_eq!(matters(&heated.standing().await[0]), [ClimateMatter::TooLow]);
    heated.house.clock.advance(TimeDelta::minutes(30));
    heated.record(heated.readings(&[(20, 20.6), (10, 20.8), (0, 21.0)])).await.unwrap();
    assert_eq!(matters(&heated.standing().await[0]), []);
    heated.house.close().await;
}

#[tokio::test]
async fn a_device_that_says_nothing_is_an_alarm_of_its_own() {
    let heated = Heated::new().await;
    heated.record(heated.readings(&[(10, 21.0), (0, 21.0)])).await.unwrap();
    heated.house.clock.advance(TimeDelta::minutes(29));
    assert_eq!(matters(&heated.standing().await[0]), []);
    heated.house.clock.advance(TimeDelta::minutes(2));
    assert_eq!(matters(&heated.standing().await[0]), [ClimateMatter::Silent]);
    let retire = v1::RetireDeviceRequest {
        request_id: heated.house.request(),
        site: "QUI".to_owned(),
        device: "Burrow lamp".to_owned(),
        because: "its battery leaks".to_owned(),
    };
    heated.quill.registrar.client.climate().retire_device(retire).await.unwrap();
    assert!(heated.standing().await.is_empty());
    // Its name is free again.
    heated.add("Burrow lamp", v1::Measure::Temperature).await.unwrap();
    heated.house.close().await;
}
