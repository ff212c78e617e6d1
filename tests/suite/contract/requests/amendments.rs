//! Requests about animals that another site holds.

use super::{HOME, Stage};
use holt_proto::v1;
use holt_tests::Park;
use prost::Message;

impl Stage {
    /// An otter that lived at the first park and lives at the second: its id, and the id of its name there.
    async fn moved(&self, from: &Park, to: &Park) -> (String, String) {
        let transfer_id = self.transfer(from, to, v1::TransferState::Dispatched).await;
        let receive = v1::ReceiveTransferRequest {
            request_id: self.house.request(),
            transfer_id,
            ..Default::default()
        };
        let received = to.registrar.client.transfers().receive_transfer(receive).await.unwrap().into_inner();
        let animal = received.transfer.unwrap().animal_id;
        let ask =
            v1::GetHistoryRequest { site: from.code.clone(), animal: animal.clone(), ..Default::default() };
        let facts = from.auditor.client.history().get_history(ask).await.unwrap().into_inner().facts;
        let mark = facts.iter().find(|fact| fact.kind() == v1::FactKind::Mark).unwrap();
        (animal, mark.id.clone())
    }

    async fn proposal(&self, from: &Park, to: &Park) -> v1::ProposeAmendmentRequest {
        let (animal, mark) = self.moved(from, to).await;
        v1::ProposeAmendmentRequest {
            request_id: self.house.request(),
            site: from.code.clone(),
            animal,
            because: "never called so".to_owned(),
            validate_only: false,
            change: Some(v1::propose_amendment_request::Change::WithdrawnFactId(mark)),
        }
    }

    async fn proposed(&self, from: &Park, to: &Park) -> String {
        let proposal = self.proposal(from, to).await;
        let answer = from.registrar.client.amendments().propose_amendment(proposal).await.unwrap();
        answer.into_inner().amendment.unwrap().id
    }

    pub(super) async fn of_amendments(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        let (home, away) = (&self.home, &self.away);
        Some(match call {
            "ProposeAmendment" => self.proposal(home, away).await.encode_to_vec(),
            "AcceptAmendment" => v1::AcceptAmendmentRequest {
                request_id,
                site,
                amendment_id: self.proposed(away, home).await,
                ..Default::default()
            }
            .encode_to_vec(),
            "DeclineAmendment" => v1::DeclineAmendmentRequest {
                request_id,
                site,
                amendment_id: self.proposed(away, home).await,
                because: "it is called so".to_owned(),
            }
            .encode_to_vec(),
            "WithdrawAmendment" => v1::WithdrawAmendmentRequest {
                request_id,
                site,
                amendment_id: self.proposed(home, away).await,
                because: String::new(),
            }
            .encode_to_vec(),
            "ListAmendments" => v1::ListAmendmentsRequest { site, ..Default::default() }.encode_to_vec(),
            _ => return None,
        })
    }
}
