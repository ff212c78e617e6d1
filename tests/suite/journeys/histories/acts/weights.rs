//! Weights: rounds, readings that wait and what becomes of them, and concerns that people settle.

use crate::journeys::histories::player::Player;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::model::person::Role;
use tonic::Status;

const SETTLED: [v1::SettledAs; 4] =
    [v1::SettledAs::FalseAlarm, v1::SettledAs::Treated, v1::SettledAs::NewNormal, v1::SettledAs::Unspecified];

impl Player {
    pub(super) async fn weigh(&mut self) -> Option<Result<(), Status>> {
        let (first, site) = self.animal()?;
        let who = self.who(&[Role::Keeper, Role::Veterinary], site);
        let mut readings = Vec::new();
        let mut weighed = Some(first);
        for _ in 0..1 + self.chance.below(3) {
            let Some(beast) = weighed.take().or_else(|| self.animal().map(|(beast, _)| beast)) else { break };
            // Now and then a decimal point is in the wrong place.
            let slip = if self.one_in(5) { 10 } else { 1 };
            let milligrams = (8_000_000 + i64::try_from(self.chance.below(400_000)).unwrap()) / slip;
            let mass = v1::Mass { milligrams };
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

    /// A reading that waits is accepted or withdrawn; now and then one that does not, or by somebody else.
    pub(super) async fn doubt(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.who(&[Role::Keeper, Role::Veterinary, Role::Registrar], site);
        let look =
            v1::ListWeightsRequest { site: self.code(site), animal: beast.id.clone(), ..Default::default() };
        let weights = who.client.weights().list_weights(look).await.ok()?.into_inner().weights;
        let waiting: Vec<_> = weights.iter().filter(|weight| weight.awaits_second).cloned().collect();
        let any = self.one_in(8);
        let weight = self.pick(if any { &weights } else { &waiting })?;
        let (request_id, site, animal) = (self.request(), self.code(site), self.spoken(&beast));
        let because = "looked at again".to_owned();
        Some(if self.one_in(3) {
            let fact_id = weight.id;
            let ask =
                v1::WithdrawFactRequest { request_id, site, animal, fact_id, because, ..Default::default() };
            self.ask(&who, ask).await.map(drop)
        } else {
            let weight_id = weight.id;
            let ask = v1::AcceptWeightRequest {
                request_id,
                site,
                animal,
                weight_id,
                because,
                ..Default::default()
            };
            self.ask(&who, ask).await.map(drop)
        })
    }

    /// A concern is settled; now and then without saying as what, or as what is not asked.
    pub(super) async fn settle(&mut self) -> Option<Result<(), Status>> {
        let site = self.some_site();
        let who = self.who(&[Role::Keeper, Role::Veterinary, Role::Registrar], site);
        let look = v1::ListConcernsRequest { site: self.code(site), ..Default::default() };
        let open = who.client.concerns().list_concerns(look).await.ok()?.into_inner().concerns;
        let concern = self.pick(&open)?;
        let settled_as = SETTLED[self.chance.below(SETTLED.len())];
        let ask = v1::SettleConcernRequest {
            request_id: self.request(),
            site: self.code(site),
            concern_id: concern.id,
            because: "looked after".to_owned(),
            settled_as: settled_as.into(),
            ..Default::default()
        };
        Some(self.ask(&who, ask).await.map(drop))
    }
}
