//! A merge that is found to be wrong by a site that does not answer for the animal: it proposes to withdraw it.

use super::super::pass;
use super::{TwoBooks, arrive};
use crate::journeys::merges::{asked, send, wrong};
use holt_proto::v1::propose_amendment_request::Change;
use holt_proto::v1::{self, AmendmentState, FactKind};
use holt_tests::{Park, reason};
use tonic::Status;

impl TwoBooks {
    async fn was_wrong(&self, park: &Park, animal: &str, merge: &str) -> Result<v1::Amendment, Status> {
        let ask = v1::ProposeAmendmentRequest {
            change: Some(Change::WrongMergeId(merge.to_owned())),
            because: "ours has a notch".to_owned(),
            ..self.ask(&park.code, animal, "", "")
        };
        Ok(park.registrar.client.send(ask).await?.amendment.unwrap())
    }

    /// Whether Brack has both records as one animal.
    async fn linked(&self) -> bool {
        let seen = self.see(&self.brack.registrar, "BRA", &self.sedge.id).await;
        seen.is_ok_and(|seen| seen.id == self.rook.id)
    }
}

#[tokio::test]
async fn who_proposed_a_merge_proposes_to_withdraw_it() {
    let this = TwoBooks::new().await;
    let hers = this.quills().await;
    let proposed = this.propose().await;
    let early = this.was_wrong(&this.quill, "Sedge", &proposed.id).await.unwrap_err();
    assert_eq!(reason(&early), "PROPOSAL_WRONG_STATE", "nothing was merged yet, and Quill answers for Sedge");
    this.accept(&proposed.id).await.unwrap();
    assert!(this.linked().await);

    let own = this.was_wrong(&this.brack, "Rook", &proposed.id).await.unwrap_err();
    assert_eq!(reason(&own), "PROPOSAL_WRONG_STATE", "who answers for the animal withdraws it directly");
    let nothing = this.was_wrong(&this.quill, "Sedge", &this.sedge.id).await.unwrap_err();
    assert_eq!(reason(&nothing), "NOT_FOUND", "{}", nothing.message());
    let first = this.was_wrong(&this.quill, "Sedge", &proposed.id).await.unwrap();
    assert_eq!(first.says, format!("withdraw the {}", proposed.says));
    assert_eq!((first.state(), first.asked_site.as_str()), (AmendmentState::Open, ""));
    this.decline(&first.id).await;
    assert!(this.linked().await, "what is declined changes nothing");

    let second = this.was_wrong(&this.quill, "Sedge", &proposed.id).await.unwrap();
    for (park, site) in [(&this.third, "THI"), (&this.quill, "QUI")] {
        let refused = park.registrar.client.send(this.yes(site, &second.id)).await.unwrap_err();
        assert!(["NOT_FOUND", "HELD_ELSEWHERE"].contains(&reason(&refused).as_str()), "{refused:?}");
    }
    let named = v1::AcceptAmendmentRequest { animal: "Rook".to_owned(), ..this.yes("BRA", &second.id) };
    let refused = this.brack.registrar.client.send(named).await.unwrap_err();
    assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE", "{}", refused.message());
    assert!(this.linked().await);
    let accepted = this.accept(&second.id).await.unwrap();
    assert_eq!(accepted.state(), AmendmentState::Accepted);
    assert!(!this.linked().await);
    assert_eq!(this.quills().await, hers, "Quill's books are as they were");
    let rook = this.see(&this.brack.registrar, "BRA", "Rook").await.unwrap();
    assert_eq!(rook.id, this.rook.id);
    this.house.close().await;
}

#[tokio::test]
async fn what_the_holder_withdrew_meanwhile_is_not_withdrawn_twice() {
    let this = TwoBooks::new().await;
    let proposed = this.propose().await;
    this.accept(&proposed.id).await.unwrap();
    let asked = this.was_wrong(&this.quill, "Sedge", &proposed.id).await.unwrap();
    let ask =
        v1::GetHistoryRequest { site: "BRA".to_owned(), animal: this.rook.id.clone(), ..Default::default() };
    let facts = this.brack.registrar.client.send(ask).await.unwrap().facts;
    let merge = facts.iter().find(|fact| fact.kind() == FactKind::Merge).unwrap().id.clone();
    // What is no version of a fact of one animal is put right in another way, and that is said.
    let correct = v1::CorrectFactRequest {
        request_id: this.house.request(),
        site: "BRA".to_owned(),
        animal: this.rook.id.clone(),
        fact_id: merge.clone(),
        because: "no".to_owned(),
        change: Some(v1::FactChange { note: Some("x".to_owned()), ..Default::default() }),
        ..Default::default()
    };
    let refused = this.brack.registrar.client.send(correct).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED", "{}", refused.message());
    assert!(refused.message().contains("a merge belongs to two records"), "{}", refused.message());
    this.brack.registrar.client.send(wrong(&this.house, "BRA", &this.rook.id, &merge)).await.unwrap();
    // Sedge is Quill's alone again, and so is what it proposed about her.
    assert_eq!(reason(&this.accept(&asked.id).await.unwrap_err()), "NOT_FOUND");
    let own = this.quill.registrar.client.send(this.yes("QUI", &asked.id)).await.unwrap_err();
    assert_eq!(reason(&own), "PROPOSAL_WRONG_STATE", "{}", own.message());
    let back = v1::WithdrawAmendmentRequest {
        request_id: this.house.request(),
        site: "QUI".to_owned(),
        amendment_id: asked.id,
        because: "done".to_owned(),
    };
    this.quill.registrar.client.send(back).await.unwrap();
    this.house.close().await;
}

#[tokio::test]
async fn a_former_holder_proposes_to_withdraw_its_own_merge() {
    let this = TwoBooks::new().await;
    let one = arrive(&this.house, &this.quill, "Teasel", "2020-05").await;
    let other = arrive(&this.house, &this.quill, "Thistle", "2020-05").await;
    let ask = asked(&this.house, "QUI", &one.id, &other.id);
    let merged = send(&this.quill.registrar, ask).await.unwrap();
    pass(&this.house, &one.id, &this.quill, &this.brack, v1::TransferTerms::TitlePasses).await;
    let direct = wrong(&this.house, "QUI", &one.id, &merged.merge_id);
    let refused = this.quill.registrar.client.send(direct).await.unwrap_err();
    assert_eq!(reason(&refused), "FACT_OF_ANOTHER_SITE", "{}", refused.message());

    let asked = this.was_wrong(&this.quill, &one.id, &merged.merge_id).await.unwrap();
    assert!(asked.says.starts_with("withdraw the merge of "), "{}", asked.says);
    this.accept(&asked.id).await.unwrap();
    // The one that never left is at Quill again, and the other where it went.
    let home = this.see(&this.quill.registrar, "QUI", &other.id).await.unwrap();
    assert_eq!((home.id.as_str(), home.status()), (other.id.as_str(), v1::AnimalStatus::Held));
    let away = this.see(&this.brack.registrar, "BRA", &one.id).await.unwrap();
    assert_eq!((away.id.as_str(), away.holder.as_str()), (one.id.as_str(), "BRA"));
    let hidden = this.see(&this.brack.registrar, "BRA", &other.id).await.unwrap_err();
    assert_eq!(reason(&hidden), "NOT_FOUND", "that animal never was Brack's");
    this.house.close().await;
}
