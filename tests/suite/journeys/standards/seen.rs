//! Who sees which answers, and as known when.

use super::{Audited, question, told, utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::reason;
use prost::Message;

#[tokio::test]
async fn whoever_reads_the_site_is_given_the_same_bytes() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "W1").await;
    audited.weighed("Bramble", "2026-02-15T09:00:00Z", 8000).await;
    let known = audited.house.clock.now();
    let ask = || v1::AnswerStandardRequest {
        as_known_at: Some(timestamp(known)),
        ..question("2026-02-01", "2026-03-01")
    };
    let first = audited.ask(&audited.quill.auditor, ask()).await.unwrap().encode_to_vec();
    audited.weighed("Bramble", "2026-02-28T09:00:00Z", 8010).await;
    audited.died("Bramble", "2026-03-01", v1::DeathManner::Unknown).await;
    let quill = &audited.quill;
    for who in [&quill.auditor, &quill.keeper, &quill.registrar, &quill.vet] {
        assert_eq!(audited.ask(who, ask()).await.unwrap().encode_to_vec(), first);
    }
    // Somebody who reads Brack as well is shown no more of Quill.
    let both = [(Role::Auditor, Some("QUI")), (Role::Auditor, Some("BRA"))];
    let both = audited.house.person("both", &both).await;
    assert_eq!(audited.ask(&both, ask()).await.unwrap().encode_to_vec(), first);
    audited.house.close().await;
}

#[tokio::test]
async fn somebody_of_another_site_is_refused() {
    let audited = Audited::new().await;
    for who in [&audited.brack.auditor, &audited.brack.registrar, &audited.brack.keeper] {
        let refused = audited.ask(who, question("2026-02-01", "2026-03-01")).await.unwrap_err();
        let nowhere =
            v1::AnswerStandardRequest { site: "NIL".to_owned(), ..question("2026-02-01", "2026-03-01") };
        let nowhere = audited.ask(who, nowhere).await.unwrap_err();
        assert_eq!(reason(&refused), reason(&nowhere), "{refused:?}");
    }
    // Quill's own rules are nothing that Brack is told of.
    let own = v1::AnswerStandardRequest { site: "BRA".to_owned(), ..question("2026-02-01", "2026-03-01") };
    for version in [0, 1] {
        let own = v1::AnswerStandardRequest { version, ..own.clone() };
        let refused = audited.ask(&audited.brack.auditor, own).await.unwrap_err();
        assert_eq!(reason(&refused), "NOT_FOUND");
    }
    let list = audited.brack.auditor.client.send(v1::ListStandardsRequest {}).await.unwrap();
    assert_eq!(list.standards, []);
    audited.house.close().await;
}

/// Whatever Brack records of an animal that has left, the answers of Quill stay.
#[tokio::test]
async fn a_former_holder_is_told_nothing_of_after() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "W1").await;
    audited.arrived("Teasel", "").await;
    audited.weighed("Bramble", "2026-02-20T09:00:00Z", 8000).await;
    let id = audited.house.moves("Teasel", &audited.quill, &audited.brack).await;
    audited.house.clock.set(utc("2026-03-20T09:00:00Z"));
    let before = audited.answers("2026-02-01", "2026-03-19").await.answers;
    let round = audited.house.round("BRA", &[(&id, utc("2026-03-10T09:00:00Z"), 7900)]);
    audited.brack.keeper.client.send(round).await.unwrap();
    let ring = v1::ApplyMarkRequest {
        request_id: audited.house.request(),
        site: "BRA".to_owned(),
        animal: id.clone(),
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::Ring.into(),
            code: "B7".to_owned(),
            place_on_body: String::new(),
        }),
        applied_at: Some(timestamp(utc("2026-03-10T09:00:00Z"))),
    };
    audited.brack.registrar.client.send(ring).await.unwrap();
    let death = v1::RecordDeathRequest {
        request_id: audited.house.request(),
        site: "BRA".to_owned(),
        animal: id,
        died_on: Some("2026-03-15".parse().unwrap()),
        manner: v1::DeathManner::Unknown.into(),
        ..Default::default()
    };
    audited.brack.registrar.client.send(death).await.unwrap();
    let after = audited.answers("2026-02-01", "2026-03-19").await;
    assert_eq!(after.answers, before);
    assert_eq!(told(&after, "died").0, "not_applicable");
    assert_eq!(told(&after, "identified").2, ["Teasel (QUI-25-0002): no mark recorded"]);
    audited.house.close().await;
}

/// A weight that never was: known before it was withdrawn, gone afterwards.
#[tokio::test]
async fn a_withdrawn_weight_is_no_evidence_any_longer() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "").await;
    audited.weighed("Bramble", "2026-02-15T09:00:00Z", 8000).await;
    let known = audited.house.clock.now();
    let list =
        v1::ListWeightsRequest { site: "QUI".to_owned(), animal: "Bramble".to_owned(), ..Default::default() };
    let weight = audited.quill.keeper.client.send(list).await.unwrap().weights[0].id.clone();
    let withdraw = v1::WithdrawFactRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: weight,
        because: "it was another animal".to_owned(),
        ..Default::default()
    };
    audited.quill.registrar.client.send(withdraw).await.unwrap();
    let answers = audited.answers("2026-02-01", "2026-03-01").await;
    assert_eq!(told(&answers, "weighed").0, "no_evidence");
    let then = v1::AnswerStandardRequest {
        as_known_at: Some(timestamp(known)),
        ..question("2026-02-01", "2026-03-01")
    };
    let then = audited.ask(&audited.quill.auditor, then).await.unwrap();
    assert_eq!(told(&then, "weighed").0, "met");
    audited.house.close().await;
}
