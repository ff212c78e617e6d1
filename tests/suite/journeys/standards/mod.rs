//! What the records of a site answer to the clauses of a standard.

mod animals;
mod events;
mod page;
mod places;
mod refused;
mod seen;
mod typed;

use chrono::{DateTime, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::{House, Park, Person};
use tonic::Status;

/// One clause for each kind of evidence, as Quill's own standard.
pub(super) const RULES: &str = include_str!("house_rules.toml");

/// A park that goes by its house rules. It is the morning of 2 March 2026.
pub(super) struct Audited {
    pub(super) house: House,
    pub(super) quill: Park,
    pub(super) brack: Park,
}

pub(super) fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// What is asked of Quill, to be sent or changed first.
pub(super) fn question(first: &str, last: &str) -> v1::AnswerStandardRequest {
    let day = |text: &str| Some(text.parse().unwrap());
    v1::AnswerStandardRequest {
        site: "QUI".to_owned(),
        standard: "qui-rules".to_owned(),
        days: Some(v1::DaySpan { first: day(first), last: day(last) }),
        ..Default::default()
    }
}

/// The answer to a clause: the verdict, how many of how many, and each exception in words.
pub(super) fn told(answers: &v1::AnswerStandardResponse, number: &str) -> (String, String, Vec<String>) {
    let of_it = |answer: &&v1::ClauseAnswer| answer.clause.as_ref().unwrap().number == number;
    let answer = answers.answers.iter().find(of_it).unwrap();
    let verdict = answer.verdict().as_str_name().trim_start_matches("CLAUSE_VERDICT_").to_lowercase();
    let exceptions = answer.exceptions.iter().map(|one| format!("{}: {}", one.name, one.what));
    (verdict, format!("{} of {}", answer.numerator, answer.denominator), exceptions.collect())
}

pub(super) fn is(verdict: &str, of: &str, exceptions: &[&str]) -> (String, String, Vec<String>) {
    (verdict.to_owned(), of.to_owned(), exceptions.iter().map(|&one| one.to_owned()).collect())
}

impl Audited {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        let audited = Self { house, quill, brack };
        audited.load(RULES).await.unwrap();
        audited
    }

    /// Loads a version of Quill's own standard.
    pub(super) async fn load(&self, toml: &str) -> Result<v1::Standard, Status> {
        let load = v1::LoadStandardRequest {
            request_id: self.house.request(),
            toml: toml.to_owned(),
            site: "QUI".to_owned(),
            ..Default::default()
        };
        Ok(self.quill.registrar.client.send(load).await?.standard.unwrap())
    }

    pub(super) async fn answers(&self, first: &str, last: &str) -> v1::AnswerStandardResponse {
        self.ask(&self.quill.auditor, question(first, last)).await.unwrap()
    }

    pub(super) async fn ask(
        &self,
        who: &Person,
        ask: v1::AnswerStandardRequest,
    ) -> Result<v1::AnswerStandardResponse, Status> {
        who.client.send(ask).await
    }

    /// An animal that came to Quill on a day a year ago, with a ring where a code is given.
    pub(super) async fn arrived(&self, name: &str, ring: &str) {
        let mut arrival = self.house.arrival(&self.quill, name, "2025-03-01".parse().unwrap());
        if !ring.is_empty() {
            arrival.marks.push(v1::NewMark {
                kind: v1::MarkKind::Ring.into(),
                code: ring.to_owned(),
                place_on_body: String::new(),
            });
        }
        self.quill.registrar.client.send(arrival).await.unwrap();
    }

    pub(super) async fn weighed(&self, animal: &str, at: &str, grams: i64) {
        let round = self.house.round("QUI", &[(animal, utc(at), grams)]);
        let answer = self.quill.keeper.client.send(round).await.unwrap();
        assert_eq!(answer.answers[0].outcome(), v1::ReadingOutcome::Accepted, "{answer:?}");
    }

    /// An animal that declined the scale.
    pub(super) async fn tried(&self, animal: &str, at: &str) {
        let mut round = self.house.round("QUI", &[(animal, utc(at), 1)]);
        round.readings[0].result = Some(v1::reading::Result::Tried(v1::Tried {}));
        self.quill.keeper.client.send(round).await.unwrap();
    }

    pub(super) async fn group(&self, name: &str, animals: &[&str]) {
        let create = v1::CreateGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            name: name.to_owned(),
            note: String::new(),
        };
        self.quill.keeper.client.send(create).await.unwrap();
        self.joined(name, animals).await;
    }

    pub(super) async fn joined(&self, group: &str, animals: &[&str]) {
        let join = v1::JoinGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            group: group.to_owned(),
            animals: animals.iter().map(|&animal| animal.to_owned()).collect(),
            role: v1::GroupRole::Member.into(),
            joined_at: None,
        };
        self.quill.keeper.client.send(join).await.unwrap();
    }

    pub(super) async fn enclosure(&self, name: &str, capacity: i32) {
        let enclosure = v1::CreateEnclosureRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            name: name.to_owned(),
            kind: v1::EnclosureKind::Outdoor.into(),
            capacity,
        };
        self.quill.registrar.client.send(enclosure).await.unwrap();
    }

    pub(super) async fn placed(&self, animals: &[&str], enclosure: &str) {
        let place = v1::PlaceAnimalsRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animals: animals.iter().map(|&animal| animal.to_owned()).collect(),
            enclosure: enclosure.to_owned(),
            placed_at: None,
        };
        self.quill.keeper.client.send(place).await.unwrap();
    }

    pub(super) async fn died(&self, animal: &str, on: &str, manner: v1::DeathManner) {
        let death = v1::RecordDeathRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            died_on: Some(on.parse().unwrap()),
            manner: manner.into(),
            ..Default::default()
        };
        self.quill.registrar.client.send(death).await.unwrap();
    }

    pub(super) async fn ringed(&self, animal: &str, code: &str, at: &str) -> v1::Mark {
        let mark = v1::ApplyMarkRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            mark: Some(v1::NewMark {
                kind: v1::MarkKind::Ring.into(),
                code: code.to_owned(),
                place_on_body: String::new(),
            }),
            applied_at: Some(timestamp(utc(at))),
        };
        self.quill.registrar.client.send(mark).await.unwrap().mark.unwrap()
    }
}
