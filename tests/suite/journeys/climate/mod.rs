//! A heated house: what must be kept there, what its devices say, and what is told when they say nothing.

mod outside;
mod readings;
mod standing;
mod unasked;

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::{House, Park};
use tonic::Status;

/// A park with a heated house and a thermometer in it. A heated house of a small social carnivore is kept at
/// 20 to 22 °C around the clock (common practice, no source).
pub(super) struct Heated {
    pub(super) house: House,
    pub(super) quill: Park,
}

impl Heated {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        house.enclosure(&quill, "Burrow House").await;
        let heated = Self { house, quill };
        heated.add("Burrow lamp", v1::Measure::Temperature).await.unwrap();
        let rule = v1::ClimateRule { low: Some(20.0), high: Some(22.0), ..Default::default() };
        heated.keep(vec![rule]).await.unwrap();
        heated
    }

    pub(super) fn device(&self, name: &str, measure: v1::Measure) -> v1::AddDeviceRequest {
        v1::AddDeviceRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            enclosure: "burrow house".to_owned(),
            name: name.to_owned(),
            measure: measure.into(),
            ..Default::default()
        }
    }

    pub(super) async fn add(&self, name: &str, measure: v1::Measure) -> Result<v1::Device, Status> {
        let ask = self.device(name, measure);
        let answer = self.quill.registrar.client.climate().add_device(ask).await?;
        Ok(answer.into_inner().device.unwrap())
    }

    pub(super) async fn keep(&self, rules: Vec<v1::ClimateRule>) -> Result<v1::ClimateRules, Status> {
        let rules = v1::ClimateRules {
            enclosure: "Burrow House".to_owned(),
            measure: v1::Measure::Temperature.into(),
            rules,
            ..Default::default()
        };
        let ask = v1::SetClimateRulesRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            rules: Some(rules),
            because: "winter".to_owned(),
        };
        Ok(self.quill.registrar.client.climate().set_climate_rules(ask).await?.into_inner().rules.unwrap())
    }

    pub(super) fn now(&self) -> DateTime<Utc> {
        self.house.clock.now()
    }

    /// Readings of the lamp, so many minutes ago each, to be sent or changed first.
    pub(super) fn readings(&self, spoken: &[(i64, f64)]) -> v1::RecordReadingsRequest {
        let now = self.now();
        let readings = spoken.iter().map(|&(minutes, value)| v1::DeviceReading {
            device: "Burrow lamp".to_owned(),
            read_at: Some(timestamp(now - TimeDelta::minutes(minutes))),
            value,
        });
        v1::RecordReadingsRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            readings: readings.collect(),
        }
    }

    pub(super) async fn record(
        &self,
        ask: v1::RecordReadingsRequest,
    ) -> Result<v1::RecordReadingsResponse, Status> {
        Ok(self.quill.keeper.client.climate().record_readings(ask).await?.into_inner())
    }

    pub(super) async fn standing(&self) -> Vec<v1::DeviceState> {
        let ask = v1::GetClimateRequest { site: "QUI".to_owned(), enclosure: String::new() };
        self.quill.auditor.client.climate().get_climate(ask).await.unwrap().into_inner().devices
    }
}

pub(super) fn counts(answer: &v1::RecordReadingsResponse) -> (i32, i32, usize) {
    (answer.recorded, answer.known, answer.refused.len())
}
