//! Two parks; the first with something in every table.

mod work;

use super::asker::{Asker, enter};
use chrono::TimeDelta;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::access::permit::Caller;
use holt_server::records::ledger;
use holt_tests::cast::REFERENCE;
use holt_tests::house::start_of_time;
use holt_tests::{House, Park};
use sqlx::AssertSqlSafe;
use std::collections::BTreeMap;
use uuid::Uuid;
use work::{enriched, fed, heated, kept_for_itself, live, proposed, shown, watched};

/// Two parks; the first with something in every table.
pub(super) struct Scene {
    pub(super) house: House,
    pub(super) quill: Park,
    pub(super) brack: Park,
    /// Identifier of an animal with a dam.
    pub(super) pup: String,
    pub(super) quill_site: Uuid,
    pub(super) brack_site: Uuid,
}

impl Scene {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        let third = house.park("THI", "Asia/Tokyo").await;
        house.load_protocol(&house.steward().await).await;
        for park in [&quill, &brack] {
            house.enclosure(park, "Weir").await;
        }
        for name in ["Bramble", "Sedge", "Teasel"] {
            house.otter(&quill, name).await;
        }
        // One that is on loan, and came with a paper.
        let borrowed = v1::RegisterArrivalRequest {
            owner: "Fenwater Collection".to_owned(),
            loan: Some(v1::LoanTerms::default()),
            papers: vec![v1::PaperContent { kind: v1::PaperKind::Receipt.into(), ..Default::default() }],
            ..house.arrival(&quill, "Heron", "2025-03-01".parse().unwrap())
        };
        quill.registrar.client.animals().register_arrival(borrowed).await.unwrap();
        let birth = v1::RegisterBirthRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            taxon: "Lontra canadensis".to_owned(),
            born_on: Some(day("2026-02-20".parse().unwrap())),
            sex: v1::Sex::Unknown.into(),
            dam: "Bramble".to_owned(),
            ..Default::default()
        };
        let pup = quill.registrar.client.animals().register_birth(birth).await.unwrap().into_inner();
        let pup = pup.animal.unwrap().id;
        live(&house, &quill, &pup).await;
        let load = v1::LoadGrowthReferenceRequest {
            request_id: house.request(),
            toml: REFERENCE.to_owned(),
            ..Default::default()
        };
        house.steward().await.client.growth().load_growth_reference(load).await.unwrap();
        house.load_standard(&house.steward().await).await;
        let describe = v1::DescribeTaxonRequest {
            request_id: house.request(),
            taxon: "Lontra canadensis".to_owned(),
            traits: Some(v1::TaxonTraits {
                gestation_days: 62,
                source: "long practice".to_owned(),
                ..Default::default()
            }),
        };
        house.steward().await.client.animals().describe_taxon(describe).await.unwrap();
        let litter = v1::RecordLitterRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            born_on: Some(day("2026-02-20".parse().unwrap())),
            young: Some(v1::Counts { males: 0, females: 0, unknown: 3 }),
            dam: "Bramble".to_owned(),
            ..Default::default()
        };
        let litter = quill.registrar.client.litters().record_litter(litter).await.unwrap().into_inner();
        let crated = v1::RecordCrateReadingRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            of: Some(v1::record_crate_reading_request::Of::LitterId(litter.litter.unwrap().id)),
            animals: 3,
            mass: Some(v1::Mass { milligrams: 420_000 }),
            ..Default::default()
        };
        quill.keeper.client.weights().record_crate_reading(crated).await.unwrap();
        let death = v1::RecordDeathRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            animal: "Teasel".to_owned(),
            died_on: Some(day(start_of_time().date_naive())),
            manner: v1::DeathManner::Natural.into(),
            ..Default::default()
        };
        quill.registrar.client.animals().record_death(death).await.unwrap();
        let check = v1::CreateCheckRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            duty: v1::Duty::Weigh.into(),
            scope: Some(v1::CheckScope { of: Some(v1::check_scope::Of::WholeSite(true)) }),
            recurrence: "FREQ=WEEKLY;BYDAY=MO".to_owned(),
            ..Default::default()
        };
        quill.registrar.client.checks().create_check(check).await.unwrap();
        // Declining the scale four times in a row raises a concern.
        let mut round = house.round("QUI", &[]);
        round.readings = (1..=4)
            .map(|hours| v1::Reading {
                animal: "Bramble".to_owned(),
                when: Some(v1::reading::When::WeighedAt(timestamp(
                    start_of_time() - TimeDelta::hours(hours),
                ))),
                result: Some(v1::reading::Result::Tried(v1::Tried {})),
                ..Default::default()
            })
            .collect();
        let answer = quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        assert_eq!(answer.concerns.len(), 1);
        let steward = house.steward().await;
        let person = v1::CreatePersonRequest {
            request_id: house.request(),
            name: "Kim Quill".to_owned(),
            sign_in_name: "kim".to_owned(),
            grants: vec![v1::Grant {
                role: v1::Role::Keeper.into(),
                site: "QUI".to_owned(),
                every_site: false,
            }],
        };
        let made = steward.client.people().create_person(person).await.unwrap().into_inner();
        let sign_in = v1::SignInRequest { sign_in_name: "kim".to_owned(), password: made.one_time_password };
        house.anonymous().people().sign_in(sign_in).await.unwrap();
        let (request_id, sign_in_name) = (house.request(), "kim".to_owned());
        let reset = v1::ResetPasswordRequest { request_id, sign_in_name };
        steward.client.people().reset_password(reset).await.unwrap();
        let this = Self {
            quill_site: house.records.store.site("QUI").await.unwrap().unwrap().id,
            brack_site: house.records.store.site("BRA").await.unwrap().unwrap().id,
            house,
            quill,
            brack,
            pup,
        };
        // Two records that were of one animal.
        let [keep, give_up] = ["Rush", "Reed"].map(|name| name.to_owned());
        for name in [&keep, &give_up] {
            this.house.otter(&this.quill, name).await;
        }
        let merge = v1::MergeAnimalsRequest {
            request_id: this.house.request(),
            site: "QUI".to_owned(),
            keep,
            give_up,
            because: "the same scars".to_owned(),
            ..Default::default()
        };
        this.quill.registrar.client.merges().merge_animals(merge).await.unwrap();
        // And one that was entered by mistake.
        let twice = this.house.otter(&this.quill, "Rushes").await;
        let never = v1::WithdrawAnimalRequest {
            request_id: this.house.request(),
            site: "QUI".to_owned(),
            animal: twice.accession,
            because: "entered twice".to_owned(),
            ..Default::default()
        };
        this.quill.registrar.client.send(never).await.unwrap();
        kept_for_itself(&this.house, &this.quill).await;
        proposed(&this.house, &this.quill).await;
        heated(&this.house, &this.quill).await;
        fed(&this.house, &this.quill, "Weir family").await;
        enriched(&this.house, &this.quill, "Weir family").await;
        shown(&this.house, &this.quill, "Bramble").await;
        watched(&this.house, &this.quill).await;
        this.amended(&third).await;
        // A move that is none of Brack's business.
        this.propose("Sedge", &third.code, v1::TransferTerms::Loan).await;
        ledger::seal(&this.house.records, &Caller::itself()).await.unwrap();
        this
    }

    /// An animal that lives elsewhere, of which Quill proposed something and withdrew it.
    async fn amended(&self, third: &Park) {
        let otter = self.house.otter(&self.quill, "Willow").await;
        let transfer_id = self.propose("Willow", &third.code, v1::TransferTerms::TitlePasses).await;
        let request_id = || self.house.request();
        let id = || transfer_id.clone();
        let mut receiver = third.registrar.client.transfers();
        let agree =
            v1::AgreeTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
        receiver.agree_transfer(agree).await.unwrap();
        let leave =
            v1::DispatchTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
        self.quill.registrar.client.transfers().dispatch_transfer(leave).await.unwrap();
        let come =
            v1::ReceiveTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
        receiver.receive_transfer(come).await.unwrap();
        let ask =
            v1::GetHistoryRequest { site: "QUI".to_owned(), animal: otter.id.clone(), ..Default::default() };
        let facts = self.quill.auditor.client.history().get_history(ask).await.unwrap().into_inner().facts;
        let name = facts.iter().find(|fact| fact.kind() == v1::FactKind::Mark).unwrap();
        let propose = v1::ProposeAmendmentRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            animal: otter.id,
            because: "never called so".to_owned(),
            validate_only: false,
            change: Some(v1::propose_amendment_request::Change::WithdrawnFactId(name.id.clone())),
        };
        let mut amendments = self.quill.registrar.client.amendments();
        let proposed = amendments.propose_amendment(propose).await.unwrap().into_inner().amendment.unwrap();
        let withdraw = v1::WithdrawAmendmentRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            amendment_id: proposed.id,
            because: String::new(),
        };
        amendments.withdraw_amendment(withdraw).await.unwrap();
    }

    pub(super) async fn propose(&self, animal: &str, to: &str, terms: v1::TransferTerms) -> String {
        let propose = v1::ProposeTransferRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            to_site: to.to_owned(),
            terms: terms.into(),
            why: "company".to_owned(),
            ..Default::default()
        };
        let proposed = self.quill.registrar.client.transfers().propose_transfer(propose).await.unwrap();
        proposed.into_inner().transfer.unwrap().id
    }

    pub(in crate::contract) async fn agree(&self, transfer_id: String) {
        let agree =
            v1::AgreeTransferRequest { request_id: self.house.request(), transfer_id, ..Default::default() };
        self.brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    }

    /// Moves the pup to Brack, where it lives on.
    pub(in crate::contract) async fn moved(&self, terms: v1::TransferTerms) {
        let transfer_id = self.propose(&self.pup, "BRA", terms).await;
        self.agree(transfer_id.clone()).await;
        let dispatch = v1::DispatchTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer_id.clone(),
            ..Default::default()
        };
        self.quill.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
        let receive = v1::ReceiveTransferRequest {
            request_id: self.house.request(),
            transfer_id,
            ..Default::default()
        };
        self.brack.registrar.client.transfers().receive_transfer(receive).await.unwrap();
        self.house.clock.advance(TimeDelta::days(1));
        live(&self.house, &self.brack, &self.pup).await;
    }

    pub(super) const fn quill(&self) -> Asker {
        Asker::of(self.quill_site, self.quill.keeper.id)
    }

    pub(super) const fn brack(&self) -> Asker {
        Asker::of(self.brack_site, self.brack.auditor.id)
    }

    /// Rows about the pup in each table of facts that an asker sees, by the site that recorded them:
    /// `weights` → (of Quill, of Brack).
    pub(super) async fn facts(&self, asker: Asker) -> BTreeMap<String, (i64, i64)> {
        let mut service = self.house.service().await;
        let tables: Vec<String> = sqlx::query_scalar(
            "SELECT t.relname::text FROM pg_class t
              WHERE t.relnamespace = 'public'::regnamespace AND t.relkind IN ('r', 'p') AND t.relname NOT IN ('checks', 'encounter_limits', 'feeds', 'litter_changes', 'loans', 'papers')
                AND 2 = (SELECT count(*) FROM pg_attribute a
                          WHERE a.attrelid = t.oid AND a.attname IN ('animal_id', 'superseded_at'))
              ORDER BY 1",
        )
        .fetch_all(&mut service)
        .await
        .unwrap();
        let mut tx = enter(&mut service, Some(asker)).await;
        let mut counts = BTreeMap::new();
        for table in tables {
            let count = format!(
                "SELECT count(*) FILTER (WHERE site_id = $2), count(*) FILTER (WHERE site_id = $3)
                   FROM {table} WHERE animal_id = $1::text::uuid"
            );
            let count: (i64, i64) = sqlx::query_as(AssertSqlSafe(count))
                .bind(&self.pup)
                .bind(self.quill_site)
                .bind(self.brack_site)
                .fetch_one(&mut *tx)
                .await
                .unwrap();
            counts.insert(table, count);
        }
        // Nobody died of this, nobody was taken for another, and it was there.
        counts.remove("deaths").unwrap();
        counts.remove("merges").unwrap();
        counts.remove("mistakes").unwrap();
        counts
    }
}
