//! A registrar finds that something was recorded wrong.

mod facts;
mod history;
mod mistakes;
mod other_site;
mod parents;
mod parties;
mod readings;
mod seen_later;

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::{House, Park, Person};
use tonic::Status;

/// A park with two otters.
pub(super) struct Books {
    pub(super) house: House,
    pub(super) quill: Park,
    pub(super) bramble: v1::Animal,
    pub(super) sedge: v1::Animal,
}

impl Books {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let bramble = house.otter(&quill, "Bramble").await;
        let sedge = house.otter(&quill, "Sedge").await;
        Self { house, quill, bramble, sedge }
    }

    /// Records a reading a while after the last, and answers its identifier.
    pub(super) async fn weigh(&self, animal: &str, grams: i64) -> String {
        self.house.clock.advance(TimeDelta::hours(1));
        let round = self.house.round("QUI", &[(animal, self.house.clock.now(), grams)]);
        let answer = self.quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        answer.answers[0].weight_id.clone()
    }

    /// A correction of a fact of Bramble, to be sent or changed first.
    pub(super) fn correction(&self, fact: &str, change: v1::FactChange) -> v1::CorrectFactRequest {
        v1::CorrectFactRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: self.bramble.id.clone(),
            fact_id: fact.to_owned(),
            change: Some(change),
            because: "seen on the sheet".to_owned(),
            ..Default::default()
        }
    }

    pub(super) async fn correct(
        &self,
        fact: &str,
        change: v1::FactChange,
    ) -> Result<v1::CorrectFactResponse, Status> {
        let ask = self.correction(fact, change);
        Ok(self.quill.registrar.client.corrections().correct_fact(ask).await?.into_inner())
    }

    pub(super) async fn strike_out(
        &self,
        person: &Person,
        animal: &str,
        fact: &str,
    ) -> Result<v1::WithdrawFactResponse, Status> {
        let ask = v1::WithdrawFactRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            fact_id: fact.to_owned(),
            because: "it was not so".to_owned(),
            ..Default::default()
        };
        Ok(person.client.corrections().withdraw_fact(ask).await?.into_inner())
    }

    /// What is known of an animal, or was at an instant.
    pub(super) async fn history(&self, animal: &str, at: Option<DateTime<Utc>>) -> v1::GetHistoryResponse {
        let ask = v1::GetHistoryRequest {
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            as_known_at: at.map(timestamp),
            ..Default::default()
        };
        self.quill.auditor.client.history().get_history(ask).await.unwrap().into_inner()
    }

    /// The facts of one kind that stand.
    pub(super) async fn facts(&self, animal: &str, kind: FactKind) -> Vec<v1::Fact> {
        let mut facts = self.history(animal, None).await.facts;
        facts.retain(|fact| fact.kind() == kind);
        facts
    }

    /// The only fact of a kind that stands.
    pub(super) async fn fact(&self, animal: &str, kind: FactKind) -> v1::Fact {
        let facts = self.facts(animal, kind).await;
        let [fact] = facts.as_slice() else { panic!("{facts:?}") };
        fact.clone()
    }

    pub(super) async fn see(&self, animal: &str) -> v1::Animal {
        let ask =
            v1::GetAnimalRequest { site: "QUI".to_owned(), animal: animal.to_owned(), ..Default::default() };
        self.quill.auditor.client.animals().get_animal(ask).await.unwrap().into_inner().animal.unwrap()
    }
}

/// A mass to change to.
pub(super) fn mass(grams: i64) -> v1::FactChange {
    v1::FactChange { mass: Some(v1::Mass { milligrams: grams * 1000 }), ..Default::default() }
}
