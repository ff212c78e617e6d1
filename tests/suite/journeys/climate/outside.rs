//! How long and how far it was outside, in the site's own day and year.

use super::Heated;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;

impl Heated {
    async fn outside(&self, minutes: i64) -> v1::DeviceExposure {
        let now = self.now();
        let ask = v1::GetExposureRequest {
            site: "QUI".to_owned(),
            from: Some(timestamp(now - TimeDelta::minutes(minutes + 1))),
            until: Some(timestamp(now)),
            ..Default::default()
        };
        let answer = self.quill.auditor.client.climate().get_exposure(ask).await.unwrap().into_inner();
        assert!(answer.caution.contains("your vet"));
        answer.devices.into_iter().next().unwrap()
    }
}

/// Worked by hand: down from 20 to 18 in 20 minutes, an hour at 18, back in 20 minutes. Below for 100
/// minutes; 1 °C on average over 40 of them and 2 °C over 60.
#[tokio::test]
async fn degree_hours_of_a_cold_morning() {
    let heated = Heated::new().await;
    let cold = [(120, 20.0), (100, 18.0), (80, 18.0), (60, 18.0), (40, 18.0), (20, 20.0), (0, 20.0)];
    heated.record(heated.readings(&cold)).await.unwrap();
    let told = heated.outside(120).await;
    assert_eq!(told.readings, 7);
    assert!((told.below_hours - 100.0 / 60.0).abs() < 1e-6, "{}", told.below_hours);
    let by_hand = (40.0 * 1.0 + 60.0 * 2.0) / 60.0;
    assert!((told.below_degree_hours - by_hand).abs() < 1e-6, "{}", told.below_degree_hours);
    assert!(told.above_hours.abs() < 1e-9 && told.silent_hours.abs() < 1e-9);
    assert_eq!(told.alarms.len(), 1);
    heated.house.close().await;
}

#[tokio::test]
async fn where_nobody_spoke_nothing_is_known() {
    let heated = Heated::new().await;
    heated.record(heated.readings(&[(180, 21.0), (170, 21.0), (10, 21.0)])).await.unwrap();
    let told = heated.outside(180).await;
    assert!((told.known_hours - 10.0 / 60.0).abs() < 1e-6, "{}", told.known_hours);
    assert!((told.silent_hours - 160.0 / 60.0).abs() < 1e-6, "{}", told.silent_hours);
    heated.house.close().await;
}

/// The house of time stands still at 06:00 of 2 March: night by the first rule, day by the second.
#[tokio::test]
async fn the_first_rule_that_applies_holds() {
    let heated = Heated::new().await;
    let night = v1::ClimateRule {
        low: Some(15.0),
        season_first: "11-01".to_owned(),
        season_last: "03-31".to_owned(),
        hours_first: "19:00".to_owned(),
        hours_last: "07:00".to_owned(),
        ..Default::default()
    };
    let day = v1::ClimateRule { low: Some(20.0), high: Some(22.0), ..Default::default() };
    let set = heated.keep(vec![night, day]).await.unwrap();
    assert_eq!((set.rules.len(), set.raise_after_minutes, set.clear_after_minutes), (2, 15, 20));
    heated.record(heated.readings(&[(20, 16.0), (10, 16.0)])).await.unwrap();
    assert!(heated.outside(30).await.below_hours.abs() < 1e-9);
    heated.house.clock.advance(TimeDelta::hours(2));
    heated.record(heated.readings(&[(20, 16.0), (10, 16.0)])).await.unwrap();
    assert!((heated.outside(30).await.below_hours - 10.0 / 60.0).abs() < 1e-6);
    heated.house.close().await;
}
