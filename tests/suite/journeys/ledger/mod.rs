//! An auditor asks whether history was changed.

mod by_site;
mod proofs;
mod sealing;
mod tamper;

use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::model::person::{Grant, Role};
use holt_tests::house::Client;
use holt_tests::{House, Park};

/// Two parks with a little history, under three seals, and a reading that waits for its seal.
pub(super) struct Past {
    pub(super) house: House,
    pub(super) quill: Park,
    pub(super) otter: v1::Animal,
    /// Somebody who audits every site.
    pub(super) auditor: uuid::Uuid,
}

fn everywhere() -> [Grant; 1] {
    [Grant { role: Role::Auditor, site: None }]
}

impl Past {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let auditor = house.person("auditor", &[(Role::Auditor, None)]).await.id;
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        let otter = house.otter(&quill, "Bramble").await;
        let sedge = house.otter(&quill, "Sedge").await;
        let this = Self { house, quill, otter, auditor };
        this.seal().await;

        for n in 0..4 {
            this.weigh("Bramble", 8_000 + n).await;
        }
        let sex = v1::RecordSexRequest {
            request_id: this.house.request(),
            site: "QUI".to_owned(),
            animal: sedge.id.clone(),
            sex: v1::Sex::Male.into(),
            determined_on: None,
        };
        this.quill.registrar.client.animals().record_sex(sex).await.unwrap();
        this.seal().await;

        let offered = v1::ProposeTransferRequest {
            request_id: this.house.request(),
            site: "QUI".to_owned(),
            animal: sedge.id,
            to_site: "BRA".to_owned(),
            terms: v1::TransferTerms::Loan.into(),
            why: "company".to_owned(),
            ..Default::default()
        };
        let offered = this.quill.registrar.client.transfers().propose_transfer(offered).await.unwrap();
        let transfer_id = offered.into_inner().transfer.unwrap().id;
        let request_id = this.house.request();
        let agree =
            v1::AgreeTransferRequest { request_id, transfer_id: transfer_id.clone(), ..Default::default() };
        brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
        let request_id = this.house.request();
        let dispatch = v1::DispatchTransferRequest {
            request_id,
            transfer_id: transfer_id.clone(),
            ..Default::default()
        };
        this.quill.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
        let request_id = this.house.request();
        let receive = v1::ReceiveTransferRequest { request_id, transfer_id, ..Default::default() };
        brack.registrar.client.transfers().receive_transfer(receive).await.unwrap();
        this.seal().await;

        this.weigh("Bramble", 8_010).await;
        this
    }

    pub(super) async fn weigh(&self, animal: &str, grams: i64) -> String {
        self.house.clock.advance(TimeDelta::minutes(10));
        let round = self.house.round("QUI", &[(animal, self.house.clock.now(), grams)]);
        let answer = self.quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        answer.answers[0].weight_id.clone()
    }

    /// The services as the auditor of every site sees them.
    pub(super) fn eyes(&self) -> Client {
        eyes(&self.house, self.auditor)
    }

    pub(super) async fn seal(&self) -> v1::SealLedgerResponse {
        self.eyes().ledger().seal_ledger(v1::SealLedgerRequest {}).await.unwrap().into_inner()
    }

    pub(super) async fn verify(&self) -> v1::VerifyLedgerResponse {
        let ask = v1::VerifyLedgerRequest::default();
        self.eyes().ledger().verify_ledger(ask).await.unwrap().into_inner()
    }
}

/// The services of a house as an auditor of every site sees them.
pub(super) fn eyes(house: &House, auditor: uuid::Uuid) -> Client {
    house.with_token(&house.token(auditor, &everywhere()))
}
