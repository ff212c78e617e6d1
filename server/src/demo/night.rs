//! The last evening and night at Quillmoor: what the keeper of the late shift left, and what the devices read. All of it
//! is invented.

use super::DemoError;
use super::family::FAMILY;
use super::load::{Loader, request_id, this_moment};
use chrono::{DateTime, Days, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Europe::Dublin;
use holt_proto::time::timestamp;
use holt_proto::v1::{
    self, climate_service_client::ClimateServiceClient, feeding_service_client::FeedingServiceClient,
    placement_service_client::PlacementServiceClient, upset_service_client::UpsetServiceClient,
};

const LAMP: &str = "Burrow lamp";
const PROBE: &str = "Pool probe";
/// Minutes between two readings.
const EVERY: i64 = 15;
/// Minutes before the end of the night within which the lamp was off.
const OFF: std::ops::Range<i64> = 180..300;
/// Minutes before the end of the night since which the probe is silent.
const SILENT: i64 = 150;

/// A time of yesterday at Quillmoor, or the moment where that was not yet.
fn yesterday(hour: u32, minute: u32) -> DateTime<Utc> {
    let today = this_moment().with_timezone(&Dublin).date_naive();
    let time = NaiveTime::from_hms_opt(hour, minute, 0).unwrap_or_default();
    let local = Dublin.from_local_datetime(&(today - Days::new(1)).and_time(time)).earliest();
    local.map_or_else(this_moment, |at| at.with_timezone(&Utc))
}

impl Loader<'_> {
    /// From the feed of yesterday's evening until now.
    pub(super) async fn last_night(&mut self) -> Result<(), DemoError> {
        let evening = yesterday(17, 45);
        self.clock.set(evening);
        self.devices().await?;
        self.late_shift().await?;
        self.clock.set(this_moment());
        self.readings(evening).await
    }

    async fn devices(&mut self) -> Result<(), DemoError> {
        let mut climate = ClimateServiceClient::new(self.wire("tadhg").await?);
        for (name, enclosure, measure, low, high) in [
            (LAMP, "Burrow House", v1::Measure::Temperature, 20.0, 27.0),
            (PROBE, "Weir Pool", v1::Measure::WaterTemperature, 4.0, 18.0),
        ] {
            let device = v1::AddDeviceRequest {
                request_id: request_id(),
                site: "QUI".to_owned(),
                enclosure: enclosure.to_owned(),
                name: name.to_owned(),
                measure: measure.into(),
                ..Default::default()
            };
            climate.add_device(device).await?;
            let rule = v1::ClimateRule { low: Some(low), high: Some(high), ..Default::default() };
            let rules = v1::ClimateRules {
                enclosure: enclosure.to_owned(),
                measure: measure.into(),
                rules: vec![rule],
                ..Default::default()
            };
            let rules = v1::SetClimateRulesRequest {
                request_id: request_id(),
                site: "QUI".to_owned(),
                rules: Some(rules),
                ..Default::default()
            };
            climate.set_climate_rules(rules).await?;
        }
        Ok(())
    }

    /// A fright, a feed that was not finished, and Clover, who slept by herself.
    async fn late_shift(&mut self) -> Result<(), DemoError> {
        let wire = self.wire("nuala").await?;
        let fright = v1::RecordUpsetRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            group: FAMILY.to_owned(),
            kind: v1::UpsetKind::Alarm.into(),
            began_at: Some(timestamp(yesterday(17, 10))),
            happened: "a buzzard over the run".to_owned(),
            calm_after_minutes: Some(12),
            ..Default::default()
        };
        UpsetServiceClient::new(wire.clone()).record_upset(fright).await?;
        let feed = v1::NewFeed {
            to: Some(v1::new_feed::To::Group(FAMILY.to_owned())),
            food: "day-old chick".to_owned(),
            given: Some(v1::Mass { milligrams: 1_000_000 }),
            given_at: Some(timestamp(yesterday(16, 30))),
            method: v1::FeedMethod::Bowl.into(),
            left: Some(v1::Mass { milligrams: 140_000 }),
            ..Default::default()
        };
        let feeds =
            v1::RecordFeedsRequest { request_id: request_id(), site: "QUI".to_owned(), feeds: vec![feed] };
        FeedingServiceClient::new(wire.clone()).record_feeds(feeds).await?;
        let apart = v1::PlaceAnimalsRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            animals: vec!["Clover".to_owned()],
            enclosure: "Quiet Room".to_owned(),
            placed_at: Some(timestamp(yesterday(17, 30))),
        };
        PlacementServiceClient::new(wire).place_animals(apart).await?;
        Ok(())
    }

    async fn readings(&mut self, since: DateTime<Utc>) -> Result<(), DemoError> {
        let until = this_moment();
        let minutes = (until - since).num_minutes();
        let mut readings = Vec::new();
        for ago in (0..minutes).rev().filter(|ago| ago % EVERY == 0) {
            let read_at = Some(timestamp(until - TimeDelta::minutes(ago)));
            let lamp = if OFF.contains(&ago) { 17.4 } else { 23.2 };
            readings.push(v1::DeviceReading { device: LAMP.to_owned(), read_at, value: lamp });
            if ago >= SILENT {
                readings.push(v1::DeviceReading { device: PROBE.to_owned(), read_at, value: 8.5 });
            }
        }
        let readings =
            v1::RecordReadingsRequest { request_id: request_id(), site: "QUI".to_owned(), readings };
        ClimateServiceClient::new(self.wire("nuala").await?).record_readings(readings).await?;
        Ok(())
    }
}
