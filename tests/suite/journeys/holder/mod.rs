//! Whose an animal's life is to record: its holder's. Others propose.

mod amendments;
mod attacks;
mod never_was;
mod two_books;

use chrono::TimeDelta;
use holt_proto::time::day;
use holt_proto::v1::{self, FactKind};
use holt_server::model::person::Role;
use holt_tests::{House, Park, Person};
use sqlx::{AssertSqlSafe, Connection};
use tonic::Status;

/// An otter that was born at Quill, was chipped and weighed there, and lives at Brack.
pub(super) struct Moved {
    pub(super) house: House,
    pub(super) quill: Park,
    pub(super) brack: Park,
    /// Identifier of the otter.
    pub(super) otter: String,
    /// Identifier of the reading.
    pub(super) weight: String,
}

impl Moved {
    /// On these terms.
    pub(super) async fn on(terms: v1::TransferTerms) -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        house.enclosure(&quill, "Weir").await;
        house.otter(&quill, "Sedge").await;
        let born = v1::RegisterBirthRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            taxon: "Lontra canadensis".to_owned(),
            born_on: Some(day("2026-02-20".parse().unwrap())),
            sex: v1::Sex::Female.into(),
            dam: "Sedge".to_owned(),
            enclosure: "Weir".to_owned(),
            ..Default::default()
        };
        let mut animals = quill.registrar.client.animals();
        let otter = animals.register_birth(born).await.unwrap().into_inner().animal.unwrap().id;
        house.clock.advance(TimeDelta::hours(1));
        let chip = v1::ApplyMarkRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            animal: otter.clone(),
            mark: Some(v1::NewMark {
                kind: v1::MarkKind::Transponder.into(),
                code: "999000000000042".to_owned(),
                place_on_body: "left shoulder".to_owned(),
            }),
            applied_at: None,
        };
        quill.registrar.client.marks().apply_mark(chip).await.unwrap();
        let round = house.round("QUI", &[(&otter, house.records.store.now(), 900)]);
        let weighed = quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        let weight = weighed.answers[0].weight_id.clone();
        let moved = Self { house, quill, brack, otter, weight };
        moved.pass(&moved.quill, &moved.brack, terms).await;
        moved
    }

    pub(super) async fn new() -> Self {
        Self::on(v1::TransferTerms::TitlePasses).await
    }

    /// Moves the otter from one park to another.
    pub(super) async fn pass(&self, from: &Park, to: &Park, terms: v1::TransferTerms) {
        pass(&self.house, &self.otter, from, to, terms).await;
    }

    /// Somebody who is registrar at both parks.
    pub(super) async fn of_both(&self) -> Person {
        let roles = [(Role::Registrar, Some("QUI")), (Role::Registrar, Some("BRA"))];
        self.house.person("of-both", &roles).await
    }

    /// The facts of one kind that stand, as somebody sees them.
    pub(super) async fn facts(&self, person: &Person, kind: FactKind) -> Vec<v1::Fact> {
        let ask = v1::GetHistoryRequest { animal: self.otter.clone(), ..Default::default() };
        let mut facts = person.client.history().get_history(ask).await.unwrap().into_inner().facts;
        facts.retain(|fact| fact.kind() == kind);
        facts
    }

    /// The only one.
    pub(super) async fn fact(&self, person: &Person, kind: FactKind) -> v1::Fact {
        let facts = self.facts(person, kind).await;
        let [fact] = facts.as_slice() else { panic!("{kind:?}: {facts:?}") };
        fact.clone()
    }

    /// The otter, as its holder sees it.
    pub(super) async fn at_home(&self) -> v1::Animal {
        let ask =
            v1::GetAnimalRequest { site: "BRA".to_owned(), animal: self.otter.clone(), ..Default::default() };
        self.brack.auditor.client.animals().get_animal(ask).await.unwrap().into_inner().animal.unwrap()
    }

    pub(super) async fn correct(
        &self,
        person: &Person,
        site: &str,
        fact: &str,
        change: v1::FactChange,
    ) -> Result<v1::CorrectFactResponse, Status> {
        let ask = v1::CorrectFactRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            animal: self.otter.clone(),
            fact_id: fact.to_owned(),
            change: Some(change),
            because: "seen on the sheet".to_owned(),
            ..Default::default()
        };
        Ok(person.client.corrections().correct_fact(ask).await?.into_inner())
    }

    pub(super) async fn strike_out(
        &self,
        person: &Person,
        site: &str,
        fact: &str,
    ) -> Result<v1::WithdrawFactResponse, Status> {
        let ask = v1::WithdrawFactRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            animal: self.otter.clone(),
            fact_id: fact.to_owned(),
            because: "it was not so".to_owned(),
            ..Default::default()
        };
        Ok(person.client.corrections().withdraw_fact(ask).await?.into_inner())
    }
}

/// Moves an animal from one park to another.
pub(super) async fn pass(house: &House, animal: &str, from: &Park, to: &Park, terms: v1::TransferTerms) {
    house.clock.advance(TimeDelta::hours(1));
    let request = || house.request();
    let offer = v1::ProposeTransferRequest {
        request_id: request(),
        site: from.code.clone(),
        animal: animal.to_owned(),
        to_site: to.code.clone(),
        terms: terms.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let (sender, receiver) = (&from.registrar.client, &to.registrar.client);
    let transfer_id = sender.send(offer).await.unwrap().transfer.unwrap().id;
    let id = || transfer_id.clone();
    let agree = v1::AgreeTransferRequest { request_id: request(), transfer_id: id(), ..Default::default() };
    receiver.send(agree).await.unwrap();
    let leave =
        v1::DispatchTransferRequest { request_id: request(), transfer_id: id(), ..Default::default() };
    sender.send(leave).await.unwrap();
    let come = v1::ReceiveTransferRequest { request_id: request(), transfer_id: id(), ..Default::default() };
    receiver.send(come).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
}

/// Accepts the proposals for an animal, of which the database may show none: then one that is made up.
pub(super) const ACCEPT: &str = "INSERT INTO amendment_answers
        SELECT a.id, a.animal_id, a.site_id, 'accepted', $1, '', now(), a.recorded_by, a.request_id FROM amendments a
         WHERE a.animal_id = $2::text::uuid
        UNION ALL
        SELECT '00000000-0000-7000-8000-0000000000ab', $2::text::uuid, $1, 'accepted', $1, '', now(), $1, $1
         WHERE NOT EXISTS (SELECT FROM amendments)";

/// What the database answers a site that writes past the code: `done`, or the SQLSTATE of the first statement that it
/// refuses. In a statement `$1` is the site and `$2` the animal.
pub(super) async fn past_the_code(house: &House, code: &str, statements: &[&str], animal: &str) -> String {
    let mut service = house.service().await;
    let mut tx = service.begin().await.unwrap();
    let site = house.records.store.site(code).await.unwrap().unwrap().id;
    sqlx::query("SELECT FROM holt_open(ARRAY[$1], false, false, $1, 60000, NULL, NULL)")
        .bind(site)
        .execute(&mut *tx)
        .await
        .unwrap();
    let mut answer = "done".to_owned();
    for sql in statements {
        let query = sqlx::query(AssertSqlSafe((*sql).to_owned()));
        let query = if sql.contains("$1") { query.bind(site).bind(animal) } else { query };
        if let Err(error) = query.execute(&mut *tx).await {
            answer =
                error.as_database_error().unwrap_or_else(|| panic!("{error}")).code().unwrap().into_owned();
            break;
        }
    }
    tx.rollback().await.unwrap();
    answer
}

/// A day of birth to change to.
pub(super) fn born(on: &str) -> v1::FactChange {
    v1::FactChange { born_on: Some(on.parse().unwrap()), ..Default::default() }
}
