//! Corrections: any fact that stands is changed or withdrawn.

use super::lives::SEXES;
use crate::journeys::histories::player::Player;
use holt_proto::time::{day, timestamp};
use holt_proto::v1::{self, FactKind};
use holt_server::model::person::Role;
use tonic::Status;

fn correctable(kind: FactKind) -> bool {
    ![FactKind::Accession, FactKind::Transfer, FactKind::Merge, FactKind::ToldApart].contains(&kind)
}

impl Player {
    pub(super) async fn correct(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.who(&[Role::Registrar, Role::Registrar, Role::Keeper], site);
        let look =
            v1::GetHistoryRequest { site: self.code(site), animal: beast.id.clone(), ..Default::default() };
        let facts = who.client.history().get_history(look).await.ok()?.into_inner().facts;
        let facts: Vec<_> = facts.into_iter().filter(|fact| fact.superseded_at.is_none()).collect();
        // What can be corrected, and now and then what never is.
        let can: Vec<_> = facts.iter().filter(|fact| correctable(fact.kind())).cloned().collect();
        let any = self.one_in(10);
        let fact = self.pick(if any { &facts } else { &can })?;
        let animal = self.spoken(&beast);
        let because = "seen on the sheet".to_owned();
        let (request_id, code) = (self.request(), self.code(site));
        let done = if self.one_in(3) {
            let ask = v1::WithdrawFactRequest {
                request_id,
                site: code,
                animal,
                fact_id: fact.id.clone(),
                because,
                ..Default::default()
            };
            self.ask(&who, ask).await.map(drop)
        } else {
            let ask = v1::CorrectFactRequest {
                request_id,
                site: code,
                animal,
                fact_id: fact.id.clone(),
                change: Some(self.change(fact.kind(), site)),
                because,
                ..Default::default()
            };
            Box::pin(self.ask(&who, ask)).await.map(drop)
        };
        // What ended it may have been taken back; whether it lives again is seen when somebody does something.
        if done.is_ok() && matches!(fact.kind(), FactKind::Death | FactKind::Holding) {
            self.known().change(&beast.id, |beast| beast.over = false);
        }
        Some(done)
    }

    /// Who the parents of an animal are, as somebody found out.
    pub(super) async fn parents(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let sires = (0..self.chance.below(3)).map(|_| v1::NewSire { animal: self.parent(site), share: 0.0 });
        let sires: Vec<_> = sires.filter(|sire| !sire.animal.is_empty()).collect();
        let ask = v1::SetParentsRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: self.spoken(&beast),
            dam: if self.one_in(2) { self.parent(site) } else { String::new() },
            sires,
            known_by: v1::ParentsKnownBy::Genetic.into(),
            parents_because: if self.one_in(2) { "seen at the nest".to_owned() } else { String::new() },
            ..Default::default()
        };
        let who = self.who(&[Role::Registrar], site);
        Some(self.ask(&who, ask).await.map(drop))
    }

    /// A record that was entered by mistake, or one of those that was none.
    pub(super) async fn never_was(&mut self) -> Option<Result<(), Status>> {
        let back = self.one_in(2).then(|| self.known().never.pop()).flatten();
        if let Some((beast, site)) = back {
            return Some(self.it_was(beast, site).await);
        }
        let (beast, site) = self.animal()?;
        let ask = v1::WithdrawAnimalRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: self.spoken(&beast),
            because: "entered twice".to_owned(),
            ..Default::default()
        };
        let who = self.who(&[Role::Registrar], site);
        let done = self.ask(&who, ask).await.map(drop);
        if done.is_ok() {
            self.known().change(&beast.id, |beast| beast.over = true);
            self.known().never.push((beast.id, site));
        }
        Some(done)
    }

    async fn it_was(&mut self, beast: String, site: usize) -> Result<(), Status> {
        let ask = v1::ReinstateAnimalRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: beast.clone(),
            because: "it was there".to_owned(),
            ..Default::default()
        };
        let who = self.who(&[Role::Registrar], site);
        let done = self.ask(&who, ask).await.map(drop);
        if done.is_ok() {
            self.known().change(&beast, |beast| beast.over = false);
        } else {
            self.known().never.push((beast, site));
        }
        done
    }

    /// A change that a fact of a kind can say.
    pub(super) fn change(&mut self, kind: FactKind, site: usize) -> v1::FactChange {
        let mut change = v1::FactChange::default();
        match kind {
            FactKind::Birth => change.born_on = Some(day(self.lately(site))),
            FactKind::Sex if self.one_in(2) => change.sex = Some(SEXES[self.chance.below(3)].into()),
            FactKind::Parent => {
                change.parent = Some(self.parent(site));
                change.parents_because = Some("seen at the nest".to_owned());
            }
            FactKind::Weight if self.one_in(2) => {
                let milligrams = 8_000_000 + i64::try_from(self.chance.below(400_000)).unwrap();
                change.mass = Some(v1::Mass { milligrams });
            }
            FactKind::Weight if self.one_in(2) => {
                change.animal = self.animal().map(|(beast, _)| beast.id);
            }
            FactKind::Title if self.one_in(2) => {
                change.owner = Some(self.owner(site)).filter(|owner| !owner.is_empty());
            }
            FactKind::Holding if self.one_in(4) => {
                change.source = Some(v1::ArrivalSource::Rescue.into());
                change.source_name = Some("Fenwater Rescue".to_owned());
            }
            FactKind::Holding if self.one_in(3) => {
                change.destination = Some(v1::DepartureDestination::Private.into());
                change.destination_name = Some("a farm at Reedwater".to_owned());
            }
            FactKind::Loan if self.one_in(2) => change.loan_terms = Some("its young stay".to_owned()),
            FactKind::Loan => change.loan_until = Some(day(self.lately(site))),
            FactKind::Membership if self.one_in(3) => change.role = Some(v1::GroupRole::Helper.into()),
            FactKind::Death if self.one_in(3) => change.found_on = Some(day(self.lately(site))),
            FactKind::Placement if self.one_in(3) => change.enclosure = Some(self.some_enclosure()),
            FactKind::Mark if self.one_in(3) => change.code = Some(self.word(site)),
            FactKind::Assessment | FactKind::Death if self.one_in(3) => {
                change.note = Some("looked at again".to_owned());
            }
            FactKind::Sex | FactKind::Weight | FactKind::Title | FactKind::Assessment | FactKind::Death => {
                change.happened_on = Some(day(self.lately(site)));
            }
            _ => match self.chance.below(5) {
                0 => change.happened_on = Some(day(self.lately(site))),
                1 => change.ended_on = Some(day(self.lately(site))),
                2 => change.ended_at = Some(timestamp(self.instant())),
                3 => change.still_lasts = true,
                _ => change.happened_at = Some(timestamp(self.instant())),
            },
        }
        change
    }
}
