//! Care: assessments, places, groups and meetings with people.

use crate::journeys::histories::player::Player;
use crate::journeys::histories::stage::{ENCLOSURES, GROUPS};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::model::person::Role;
use tonic::Status;

const STATES: [v1::LifeStateKind; 4] = [
    v1::LifeStateKind::Carrying,
    v1::LifeStateKind::Carrying,
    v1::LifeStateKind::Moult,
    v1::LifeStateKind::Torpor,
];
const ROLES: [v1::GroupRole; 3] = [v1::GroupRole::Member, v1::GroupRole::Breeding, v1::GroupRole::Helper];

impl Player {
    pub(super) fn some_enclosure(&mut self) -> String {
        ENCLOSURES[self.chance.below(ENCLOSURES.len())].to_owned()
    }

    pub(super) async fn assess(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.who(&[Role::Keeper, Role::Veterinary], site);
        let level = if self.one_in(3) { "thin" } else { "right" };
        let mut ask = self.stage.house.assessment(&self.code(site), &beast.id, &[("body-condition", level)]);
        ask.assessed_at = self.one_in(2).then(|| timestamp(self.instant()));
        Some(self.ask(&who, ask).await.map(drop))
    }

    /// A state of an animal begins, is confirmed or is over; now and then one that cannot be.
    pub(super) async fn state(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.who(&[Role::Keeper, Role::Veterinary], site);
        let kind = STATES[self.chance.below(STATES.len())].into();
        let (request_id, code, animal) = (self.request(), self.code(site), self.spoken(&beast));
        Some(if self.one_in(3) {
            let when = v1::end_life_state_request::When::EndedOn(day(self.lately(site)));
            let ask = v1::EndLifeStateRequest {
                request_id,
                site: code,
                animal,
                kind,
                when: Some(when).filter(|_| self.one_in(2)),
                because: "over".to_owned(),
                ..Default::default()
            };
            self.ask(&who, ask).await.map(drop)
        } else {
            let since = v1::begin_life_state_request::Since::BeganAt(timestamp(self.instant()));
            let ask = v1::BeginLifeStateRequest {
                request_id,
                site: code,
                animal,
                kind,
                suspected: self.one_in(4),
                since: Some(since).filter(|_| self.one_in(2)),
                ..Default::default()
            };
            self.ask(&who, ask).await.map(drop)
        })
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
