//! Moves, deaths, concerns and the stock; and what is not computed.

use super::{Audited, is, told, utc};
use holt_proto::v1;

impl Audited {
    /// Teasel goes to Brack now, with what is noted on the way.
    async fn moved(&self, animal: &str, papers: &str, condition: &str) {
        let propose = v1::ProposeTransferRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            to_site: "BRA".to_owned(),
            terms: v1::TransferTerms::TitlePasses.into(),
            why: "company".to_owned(),
            ..Default::default()
        };
        let transfer_id = self.quill.registrar.client.send(propose).await.unwrap().transfer.unwrap().id;
        let request_id = self.house.request();
        let agree =
            v1::AgreeTransferRequest { request_id, transfer_id: transfer_id.clone(), ..Default::default() };
        self.brack.registrar.client.send(agree).await.unwrap();
        let dispatch = v1::DispatchTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer_id.clone(),
            note: papers.to_owned(),
            ..Default::default()
        };
        self.quill.registrar.client.send(dispatch).await.unwrap();
        let receive = v1::ReceiveTransferRequest {
            request_id: self.house.request(),
            transfer_id,
            note: condition.to_owned(),
            ..Default::default()
        };
        self.brack.registrar.client.send(receive).await.unwrap();
    }
}

#[tokio::test]
async fn a_move_says_what_it_lacks() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "").await;
    audited.arrived("Teasel", "").await;
    let nothing = is("not_applicable", "0 of 0", &[]);
    assert_eq!(told(&audited.answers("2026-03-01", "2026-03-02").await, "moved"), nothing);
    audited.moved("Bramble", "licence 12, carrier Hale", "bright").await;
    assert_eq!(told(&audited.answers("2026-03-01", "2026-03-02").await, "moved"), is("met", "1 of 1", &[]));
    audited.moved("Teasel", "", "bright").await;
    let lacks = "Teasel (QUI-25-0002), QUI to BRA: no papers or carrier noted at dispatch";
    assert_eq!(
        told(&audited.answers("2026-03-01", "2026-03-02").await, "moved"),
        is("short", "1 of 2", &[lacks])
    );
    assert_eq!(told(&audited.answers("2026-02-01", "2026-03-01").await, "moved"), nothing);
    audited.house.close().await;
}

#[tokio::test]
async fn a_death_is_explained_by_its_manner_or_by_the_post_mortem() {
    let audited = Audited::new().await;
    for name in ["Bramble", "Dab", "Teasel"] {
        audited.arrived(name, "").await;
    }
    audited.died("Dab", "2026-03-01", v1::DeathManner::Unknown).await;
    audited.died("Teasel", "2026-03-02", v1::DeathManner::Natural).await;
    let litter = v1::RecordLitterRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some("2026-02-20".parse().unwrap()),
        young: Some(v1::Counts { males: 0, females: 0, unknown: 3 }),
        dam: "Bramble".to_owned(),
        ..Default::default()
    };
    let litter = audited.quill.registrar.client.send(litter).await.unwrap().litter.unwrap();
    let died = v1::LitterDeaths {
        young: Some(v1::Counts { males: 0, females: 0, unknown: 2 }),
        manner: v1::DeathManner::Unknown.into(),
    };
    let died = v1::RecordLitterEventRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        litter_id: litter.id,
        happened_on: Some("2026-02-21".parse().unwrap()),
        event: Some(v1::record_litter_event_request::Event::Died(died)),
        ..Default::default()
    };
    audited.quill.registrar.client.send(died).await.unwrap();
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    let unknown = [
        "Dab (QUI-25-0002): its manner of death is not known",
        "2 in a litter: its manner of death is not known",
    ];
    assert_eq!(told(&answers, "died"), is("short", "1 of 3", &unknown));
    let found = async |post_mortem: v1::PostMortem, result: &str| {
        let found = v1::RecordPostMortemRequest {
            request_id: audited.house.request(),
            site: "QUI".to_owned(),
            animal: "QUI-25-0002".to_owned(),
            post_mortem: post_mortem.into(),
            post_mortem_result: result.to_owned(),
            because: "the laboratory wrote".to_owned(),
            ..Default::default()
        };
        audited.quill.vet.client.send(found).await.unwrap();
        told(&audited.answers("2026-02-22", "2026-03-02").await, "died")
    };
    let waits = "Dab (QUI-25-0002): its manner of death is not known; the post-mortem that was asked for has no result";
    assert_eq!(found(v1::PostMortem::AskedFor, "").await, is("short", "1 of 2", &[waits]));
    assert_eq!(found(v1::PostMortem::Done, "pneumonia").await, is("met", "2 of 2", &[]));
    audited.house.close().await;
}

/// Whoever declines the scale four times in a row raises a concern.
#[tokio::test]
async fn a_concern_that_nobody_answers_is_named_when_its_time_is_over() {
    let audited = Audited::new().await;
    for name in ["Bramble", "Sedge"] {
        audited.arrived(name, "").await;
        audited.weighed(name, "2026-01-20T09:00:00Z", 8000).await;
        for day in ["23", "24", "25", "26"] {
            audited.tried(name, &format!("2026-02-{day}T09:00:00Z")).await;
        }
    }
    let list = v1::ListConcernsRequest { site: "QUI".to_owned(), ..Default::default() };
    let concerns = audited.quill.keeper.client.send(list).await.unwrap().concerns;
    assert_eq!(concerns.len(), 2, "{concerns:?}");
    let answers = audited.answers("2026-03-01", "2026-03-02").await;
    assert_eq!(told(&answers, "answered"), is("not_applicable", "0 of 0", &[]), "there is time yet");
    audited.house.clock.set(utc("2026-03-04T09:00:00Z"));
    let bramble = concerns.iter().find(|concern| concern.house_name == "Bramble").unwrap();
    let take_up = v1::TakeUpConcernRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        concern_id: bramble.id.clone(),
        ..Default::default()
    };
    audited.quill.keeper.client.send(take_up).await.unwrap();
    let answers = audited.answers("2026-03-01", "2026-03-04").await;
    assert_eq!(told(&answers, "answered"), is("met", "1 of 1", &[]));
    audited.house.clock.set(utc("2026-03-12T09:00:00Z"));
    let answers = audited.answers("2026-03-01", "2026-03-04").await;
    let open = "Sedge (QUI-25-0002): not answered for 10 days, within 7 wanted";
    assert_eq!(told(&answers, "answered"), is("short", "1 of 2", &[open]));
    audited.house.close().await;
}

#[tokio::test]
async fn the_stock_adds_up_and_what_is_not_computed_is_never_met() {
    let audited = Audited::new().await;
    let answers = audited.answers("2026-03-01", "2026-03-02").await;
    assert_eq!(told(&answers, "adds up"), is("not_applicable", "0 of 0", &[]), "there is no animal");
    audited.arrived("Bramble", "").await;
    audited.died("Bramble", "2026-03-02", v1::DeathManner::Natural).await;
    let answers = audited.answers("2026-03-01", "2026-03-02").await;
    assert_eq!(told(&answers, "adds up"), is("met", "1 of 1", &[]));
    for number in ["sealed", "treated"] {
        assert_eq!(told(&answers, number), is("not_computed", "0 of 0", &[]));
        let of_it = |one: &&v1::ClauseAnswer| one.clause.as_ref().unwrap().number == number;
        assert!(answers.answers.iter().find(of_it).unwrap().remark.starts_with("Holt "), "{number}");
    }
    // The worst first.
    let verdicts: Vec<_> = answers.answers.iter().map(v1::ClauseAnswer::verdict).collect();
    let rank = |verdict: &v1::ClauseVerdict| {
        use v1::ClauseVerdict::{Met, NoEvidence, NotApplicable, NotComputed, Short};
        [Short, NoEvidence, NotComputed, Met, NotApplicable].iter().position(|one| one == verdict)
    };
    assert!(verdicts.is_sorted_by_key(rank), "{verdicts:?}");
    assert_eq!(answers.unshown.len(), 1);
    assert!(answers.caution.contains("do not replace an inspection"), "{}", answers.caution);
    audited.house.close().await;
}
