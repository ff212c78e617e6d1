//! People and animals: encounters are recorded, limits are set, and what breaks them is told.

mod allowances;
mod breaches;
mod records;

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1::set_encounter_limits_request::Of;
use holt_proto::v1::{self, EncounterLimit as Limit};
use holt_server::clock::Clock;
use holt_tests::{House, Park};
use tonic::Status;

/// A park with two otters, and its clock at nine in the morning of Monday, 9 March.
pub(super) struct Show {
    pub(super) house: House,
    pub(super) park: Park,
}

impl Show {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        for name in ["Bramble", "Sedge"] {
            house.otter(&park, name).await;
        }
        house.clock.advance(TimeDelta::days(7) + TimeDelta::hours(3));
        Self { house, park }
    }

    pub(super) fn now(&self) -> DateTime<Utc> {
        self.house.clock.now()
    }

    pub(super) async fn limit(
        &self,
        of: Of,
        limits: v1::EncounterLimits,
    ) -> Result<v1::EncounterRule, Status> {
        let ask = v1::SetEncounterLimitsRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            of: Some(of),
            limits: Some(limits),
            because: "house rules".to_owned(),
        };
        let told = self.park.registrar.client.encounters().set_encounter_limits(ask).await?;
        Ok(told.into_inner().rule.unwrap())
    }

    /// A talk with these animals that began so many minutes ago and lasted so many, to be sent or changed first.
    pub(super) fn talk(&self, animals: &[&str], ago: i64, minutes: i64) -> v1::RecordEncounterRequest {
        let began = self.now() - TimeDelta::minutes(ago);
        v1::RecordEncounterRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            kind: v1::EncounterKind::Talk.into(),
            began_at: Some(timestamp(began)),
            ended_at: Some(timestamp(began + TimeDelta::minutes(minutes))),
            animals: animals.iter().map(|&animal| animal.to_owned()).collect(),
            ..Default::default()
        }
    }

    pub(super) async fn record(
        &self,
        ask: v1::RecordEncounterRequest,
    ) -> Result<v1::RecordEncounterResponse, Status> {
        Ok(self.park.keeper.client.encounters().record_encounter(ask).await?.into_inner())
    }

    pub(super) async fn listed(&self, animal: &str, known: Option<DateTime<Utc>>) -> Vec<v1::Encounter> {
        let ask = v1::ListEncountersRequest {
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            as_known_at: known.map(timestamp),
            ..Default::default()
        };
        self.park.auditor.client.encounters().list_encounters(ask).await.unwrap().into_inner().encounters
    }

    pub(super) async fn left(&self, group: &str) -> Vec<v1::EncounterAllowance> {
        let ask = v1::ListEncounterAllowancesRequest {
            site: "QUI".to_owned(),
            group: group.to_owned(),
            ..Default::default()
        };
        let told = self.park.auditor.client.encounters().list_encounter_allowances(ask).await.unwrap();
        told.into_inner().allowances
    }
}

pub(super) fn otters() -> Of {
    Of::Taxon("Lontra canadensis".to_owned())
}

pub(super) fn name(animal: &Option<v1::AnimalLabel>) -> &str {
    animal.as_ref().map(|animal| animal.house_name.as_str()).unwrap_or_default()
}

pub(super) fn told(breaches: &[v1::EncounterBreach]) -> Vec<(&str, Limit, i32, i32)> {
    breaches.iter().map(|one| (name(&one.animal), one.limit(), one.told, one.set)).collect()
}
