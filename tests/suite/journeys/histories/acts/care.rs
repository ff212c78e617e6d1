//! Care: weights, assessments, places, groups and meetings with people.

use crate::journeys::histories::player::Player;
use crate::journeys::histories::stage::{ENCLOSURES, GROUPS};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::model::person::Role;
use tonic::Status;

const ROLES: [v1::GroupRole; 3] = [v1::GroupRole::Member, v1::GroupRole::Breeding, v1::GroupRole::Helper];

impl Player {
    pub(super) fn some_enclosure(&mut self) -> String {
        ENCLOSURES[self.chance.below(ENCLOSURES.len())].to_owned()
    }

    pub(super) async fn weigh(&mut self) -> Option<Result<(), Status>> {
        let (first, site) = self.animal()?;
        let who = self.who(&[Role::Keeper, Role::Veterinary], site);
        let mut readings = Vec::new();
        let mut weighed = Some(first);
        for _ in 0..1 + self.chance.below(3) {
            let Some(beast) = weighed.take().or_else(|| self.animal().map(|(beast, _)| beast)) else { break };
            let mass =
                v1::Mass { milligrams: 8_000_000 + i64::try_from(self.chance.below(400_000)).unwrap() };
            let tried = self.one_in(4);
            readings.push(v1::Reading {
                animal: self.spoken(&beast),
                when: Some(if self.one_in(4) {
                    v1::reading::When::WeighedOn(day(self.lately(site)))
                } else {
                    v1::reading::When::WeighedAt(timestamp(self.instant()))
                }),
                result: Some(if tried {
                    v1::reading::Result::Tried(v1::Tried {})
                } else {
                    v1::reading::Result::Mass(mass)
                }),
                scale: "platform".to_owned(),
                ..Default::default()
            });
        }
        let round = v1::RecordWeightsRequest {
            request_id: self.request(),
            site: self.code(site),
            readings,
            validate_only: false,
        };
        Some(self.ask(&who, round).await.map(drop))
    }

    pub(super) async fn crate_reading(&mut self) -> Option<Result<(), Status>> {
        let all = self.known().litters.clone();
        let (litter, site) = self.pick(&all)?;
        let who = self.keeper(site);
        let ask = v1::RecordCrateReadingRequest {
            request_id: self.request(),
            site: self.code(site),
            of: Some(v1::record_crate_reading_request::Of::LitterId(litter)),
            animals: 1 + i32::from(self.one_in(2)),
            mass: Some(v1::Mass { milligrams: 400_000 }),
            when: Some(v1::record_crate_reading_request::When::WeighedOn(day(self.lately(site)))),
            scale: "kitchen".to_owned(),
            ..Default::default()
        };
        Some(self.ask(&who, ask).await.map(drop))
    }

    pub(super) async fn assess(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.who(&[Role::Keeper, Role::Veterinary], site);
        let level = if self.one_in(3) { "thin" } else { "right" };
        let mut ask = self.stage.house.assessment(&self.code(site), &beast.id, &[("body-condition", level)]);
        ask.assessed_at = self.one_in(2).then(|| timestamp(self.instant()));
        Some(self.ask(&who, ask).await.map(drop))
    }

    pub(super) async fn place(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.who(&[Role::Keeper, Role::Registrar], site);
        let place = v1::PlaceAnimalsRequest {
            request_id: self.request(),
            site: self.code(site),
            animals: vec![self.spoken(&beast)],
            enclosure: self.some_enclosure(),
            placed_at: self.one_in(2).then(|| timestamp(self.instant())),
        };
        Some(self.ask(&who, place).await.map(drop))
    }

    pub(super) async fn group(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.who(&[Role::Keeper, Role::Registrar], site);
        let (request_id, code) = (self.request(), self.code(site));
        let group = GROUPS[self.chance.below(GROUPS.len())].to_owned();
        let when = self.one_in(2).then(|| timestamp(self.instant()));
        Some(match self.chance.below(6) {
            0 => {
                let enclosure = self.some_enclosure();
                let ask = v1::MoveGroupRequest { request_id, site: code, group, enclosure, moved_at: when };
                self.ask(&who, ask).await.map(drop)
            }
            1 => {
                let animals = vec![beast.id];
                let why = "quarrel".to_owned();
                let ask =
                    v1::LeaveGroupRequest { request_id, site: code, group, animals, left_at: when, why };
                self.ask(&who, ask).await.map(drop)
            }
            _ => {
                let ask = v1::JoinGroupRequest {
                    request_id,
                    site: code,
                    group,
                    animals: vec![beast.id],
                    role: ROLES[self.chance.below(3)].into(),
                    joined_at: when,
                };
                self.ask(&who, ask).await.map(drop)
            }
        })
    }

    pub(super) async fn encounter(&mut self) -> Option<Result<(), Status>> {
        if self.one_in(4) {
            let all = self.known().encounters.clone();
            let (encounter_id, site) = self.pick(&all)?;
            let who = self.keeper(site);
            let (request_id, site) = (self.request(), self.code(site));
            let because = "another day".to_owned();
            let ask = v1::WithdrawEncounterRequest { request_id, site, encounter_id, because };
            return Some(self.ask(&who, ask).await.map(drop));
        }
        let (beast, site) = self.animal()?;
        let who = self.keeper(site);
        let ended = self.instant();
        let ask = v1::RecordEncounterRequest {
            request_id: self.request(),
            site: self.code(site),
            kind: v1::EncounterKind::Talk.into(),
            began_at: Some(timestamp(ended - chrono::TimeDelta::minutes(20))),
            ended_at: Some(timestamp(ended)),
            animals: vec![beast.id],
            ..Default::default()
        };
        let told = self.ask(&who, ask).await;
        if let Ok(told) = &told {
            self.known().encounters.push((told.encounter.clone().unwrap().id, site));
        }
        Some(told.map(drop))
    }
}
