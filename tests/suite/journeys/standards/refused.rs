//! What cannot be asked, what cannot be loaded, and by which version a site is judged.

use super::{Audited, RULES, question};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::cast::STANDARD;
use holt_tests::reason;
use tonic_types::StatusExt;

fn fields(refused: &tonic::Status) -> Vec<String> {
    let details = refused.get_details_bad_request().map(|details| details.field_violations);
    details.unwrap_or_default().into_iter().map(|violation| violation.field).collect()
}

#[tokio::test]
async fn days_that_cannot_be_answered_are_refused() {
    let audited = Audited::new().await;
    let ask = async |ask: v1::AnswerStandardRequest| {
        let refused = audited.ask(&audited.quill.auditor, ask).await.unwrap_err();
        (reason(&refused), fields(&refused))
    };
    let is = |reason: &str, field: &str| (reason.to_owned(), vec![field.to_owned()]);
    assert_eq!(ask(question("2026-02-01", "2026-03-03")).await, is("IN_THE_FUTURE", "days"));
    assert_eq!(ask(question("2026-03-01", "2026-02-01")).await.1, ["days"]);
    assert_eq!(ask(question("2015-01-01", "2026-03-01")).await, is("MALFORMED", "days"));
    let none = v1::AnswerStandardRequest { days: None, ..question("2026-02-01", "2026-03-01") };
    assert_eq!(ask(none).await.1, ["days"]);
    // Of what was known in January, February cannot be answered.
    let early = v1::AnswerStandardRequest {
        as_known_at: Some(timestamp(super::utc("2026-01-31T12:00:00Z"))),
        ..question("2026-01-01", "2026-02-01")
    };
    assert_eq!(ask(early).await, is("IN_THE_FUTURE", "days"));
    for max_exceptions in [-1, 1001] {
        let many = v1::AnswerStandardRequest { max_exceptions, ..question("2026-02-01", "2026-03-01") };
        assert_eq!(ask(many).await.1, ["max_exceptions"]);
    }
    for (standard, version) in [("nowhere", 0), ("qui-rules", 2), ("gb-zoo-licensing-act", 1)] {
        let unknown = v1::AnswerStandardRequest {
            standard: standard.to_owned(),
            version,
            ..question("2026-02-01", "2026-03-01")
        };
        assert_eq!(ask(unknown).await.0, "NOT_FOUND", "{standard}@{version}");
    }
    audited.house.close().await;
}

#[tokio::test]
async fn a_standard_that_contradicts_itself_is_not_loaded() {
    let audited = Audited::new().await;
    let second = RULES.replace("version = 1", "version = 2");
    for (what, from, to, field) in [
        ("the number of another clause", "number = \"fed\"", "number = \"weighed\"", "clause[6].number"),
        ("no evidence of Holt's", "\"diets_on_record\"", "\"wishes\"", "toml"),
        (
            "a rhythm of a state",
            "rule = \"latest\"\nmin_days",
            "rule = { every = { days = 3 } }\nmin_days",
            "clause[0].rule",
        ),
        ("no days for concerns", "within_days = 7\n", "", "clause[11].within_days"),
        ("a share of nothing", "percent = 50", "percent = 0", "clause[3].percent"),
    ] {
        let toml = second.replacen(from, to, 1);
        assert_ne!(toml, second, "{what}");
        let refused = audited.load(&toml).await.unwrap_err();
        assert_eq!(
            (reason(&refused).as_str(), fields(&refused)),
            ("MALFORMED", vec![field.to_owned()]),
            "{what}"
        );
    }
    let again = audited.load(RULES).await.unwrap_err();
    assert_eq!(reason(&again), "EXISTS");
    let skipped = audited.load(&RULES.replace("version = 1", "version = 3")).await.unwrap_err();
    assert_eq!(reason(&skipped), "VERSION_NOT_NEXT");
    // Shared ones are the curator's to load, and a keeper loads none at all.
    let shared = v1::LoadStandardRequest {
        request_id: audited.house.request(),
        toml: STANDARD.to_owned(),
        ..Default::default()
    };
    for who in [&audited.quill.registrar, &audited.quill.keeper, &audited.quill.auditor] {
        let request_id = audited.house.request();
        let shared = v1::LoadStandardRequest { request_id, ..shared.clone() };
        assert_eq!(reason(&who.client.send(shared).await.unwrap_err()), "ROLE_NEEDED");
    }
    audited.house.close().await;
}

#[tokio::test]
async fn a_site_is_judged_by_the_version_that_it_adopted() {
    let audited = Audited::new().await;
    let adopt = v1::AdoptVersionRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        kind: v1::DocumentKind::Standard.into(),
        code: "qui-rules".to_owned(),
        version: 1,
        adopted_on: Some("2026-01-01".parse().unwrap()),
    };
    audited.quill.registrar.client.send(adopt).await.unwrap();
    let second = RULES.replace("version = 1", "version = 2").replace("House rules", "Stricter rules");
    audited.load(&second).await.unwrap();
    let told = async |version: i32, last: &str| {
        let ask = v1::AnswerStandardRequest { version, ..question("2025-12-01", last) };
        let told = audited.ask(&audited.quill.auditor, ask).await.unwrap();
        (told.version, told.version_basis(), told.title)
    };
    let is = |version, basis, title: &str| (version, basis, title.to_owned());
    assert_eq!(told(0, "2026-02-28").await, is(1, v1::VersionBasis::Adopted, "House rules"));
    assert_eq!(told(2, "2026-02-28").await, is(2, v1::VersionBasis::Named, "Stricter rules"));
    assert_eq!(told(0, "2025-12-31").await, is(2, v1::VersionBasis::Last, "Stricter rules"));
    audited.house.close().await;
}

#[tokio::test]
async fn a_registrar_proposes_a_standard_for_all_and_the_curator_accepts() {
    let audited = Audited::new().await;
    let document =
        v1::ProposedDocument { kind: v1::DocumentKind::Standard.into(), toml: STANDARD.to_owned() };
    let propose = v1::ProposeChangeRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        change: Some(v1::propose_change_request::Change::Document(document)),
        because: "the council asks for it".to_owned(),
        ..Default::default()
    };
    let proposal = audited.quill.registrar.client.send(propose).await.unwrap().proposal.unwrap();
    let accept = v1::AcceptProposalRequest {
        request_id: audited.house.request(),
        proposal_id: proposal.id,
        note: String::new(),
    };
    audited.house.steward().await.client.send(accept).await.unwrap();
    let ask = v1::AnswerStandardRequest {
        standard: "gb-zoo-licensing-act".to_owned(),
        site: "BRA".to_owned(),
        ..question("2026-02-01", "2026-03-01")
    };
    let told = audited.ask(&audited.brack.auditor, ask).await.unwrap();
    assert_eq!((told.version, told.answers.len(), told.unshown.len()), (1, 14, 4));
    assert_eq!(
        told.source,
        "Zoo Licensing Act 1981, section 1A, as inserted by S.I. 2002/3080, regulation 5"
    );
    audited.house.close().await;
}
