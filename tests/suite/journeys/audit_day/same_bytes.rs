//! The same question has the same answer for ever.

use super::Month;
use chrono::TimeDelta;
use holt_proto::v1;

/// Everything that can be written afterwards and touches the month.
async fn later_writes(month: &Month) {
    let (house, quill) = (&month.house, &month.quill);
    let request = || house.request();
    let site = || "QUI".to_owned();
    house.clock.advance(TimeDelta::days(1));
    // A weight and a try that were entered late, and an assessment.
    month.weigh("2026-03-23T08:00:00Z", "Teasel", Some(8150)).await;
    month.weigh("2026-03-30T08:00:00Z", "Bramble", None).await;
    let assessment = v1::RecordAssessmentRequest {
        assessed_at: Some(holt_proto::time::timestamp(super::utc("2026-03-31T09:00:00Z"))),
        ..house.assessment("QUI", "Sedge", &[("gait", "even")])
    };
    quill.keeper.client.assessments().record_assessment(assessment).await.unwrap();
    // A sex that is learnt, and one that is corrected.
    for (animal, sex, on) in
        [("Teasel", v1::Sex::Female, "2026-03-15"), ("Sedge", v1::Sex::Female, "2025-03-01")]
    {
        let sex = v1::RecordSexRequest {
            request_id: request(),
            site: site(),
            animal: animal.to_owned(),
            sex: sex.into(),
            determined_on: Some(on.parse().unwrap()),
        };
        quill.registrar.client.animals().record_sex(sex).await.unwrap();
    }
    // A name.
    let mark = v1::ApplyMarkRequest {
        request_id: request(),
        site: site(),
        animal: "Sedge".to_owned(),
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::HouseName.into(),
            code: "Rushy".to_owned(),
            place_on_body: String::new(),
        }),
        applied_at: Some(holt_proto::time::timestamp(super::utc("2026-03-01T09:00:00Z"))),
    };
    quill.registrar.client.marks().apply_mark(mark).await.unwrap();
    // A place.
    house.enclosure(quill, "Weir").await;
    let place = v1::PlaceAnimalsRequest {
        request_id: request(),
        site: site(),
        animals: vec!["Sedge".to_owned()],
        enclosure: "Weir".to_owned(),
        placed_at: Some(holt_proto::time::timestamp(super::utc("2026-03-01T09:00:00Z"))),
    };
    quill.keeper.client.placements().place_animals(place).await.unwrap();
    // Checks end and begin.
    let list = v1::ListChecksRequest { site: site(), as_known_at: None };
    let checks = quill.registrar.client.checks().list_checks(list).await.unwrap().into_inner().checks;
    for check in checks {
        let end = v1::EndCheckRequest {
            request_id: request(),
            site: site(),
            check_id: check.id,
            ends_on: Some("2026-03-10".parse().unwrap()),
            why: "another plan".to_owned(),
        };
        quill.registrar.client.checks().end_check(end).await.unwrap();
    }
    let all = v1::check_scope::Of::WholeSite(true);
    month.check(v1::Duty::Weigh, all, "FREQ=DAILY", "2026-03-01", 0).await;
    // The concern is settled.
    let list = v1::ListConcernsRequest { site: site(), ..Default::default() };
    let concerns = quill.keeper.client.concerns().list_concerns(list).await.unwrap().into_inner().concerns;
    for concern in &concerns {
        let take_up = v1::TakeUpConcernRequest {
            request_id: request(),
            site: site(),
            concern_id: concern.id.clone(),
            ..Default::default()
        };
        quill.keeper.client.concerns().take_up_concern(take_up).await.unwrap();
        let settle = v1::SettleConcernRequest {
            request_id: request(),
            site: site(),
            concern_id: concern.id.clone(),
            because: "a new scale".to_owned(),
            ..Default::default()
        };
        quill.vet.client.concerns().settle_concern(settle).await.unwrap();
    }
    assert_eq!(concerns.len(), 1);
    // The otters' species gets another name.
    let renamed = v1::UpdateTaxonRequest {
        request_id: request(),
        taxon: "Lontra canadensis".to_owned(),
        new_scientific_name: "Lataxina canadensis".to_owned(),
        because: "genus revised".to_owned(),
        ..Default::default()
    };
    month.house.steward().await.client.animals().update_taxon(renamed).await.unwrap();
    // Teasel moves; Dab's neighbour dies, and was dead in March already.
    month.move_teasel().await;
    month.die("Bramble", "2026-03-31").await;
    month.arrive("Foam", "Lutra lutra", v1::Sex::Female, "2026-02-20").await;
    // Another animal takes the name of one that is in the report.
    month.arrive("Dab", "Lontra canadensis", v1::Sex::Male, "2026-03-19").await;
}

/// What is due, the checks, the concerns and the open transfers, as was known at an instant.
async fn lists(month: &Month, as_known_at: Option<prost_types::Timestamp>) -> [String; 4] {
    let client = &month.quill.keeper.client;
    let site = "QUI".to_owned();
    let as_of = Some("2026-03-31".parse().unwrap());
    let due = v1::ListDueRequest { site: site.clone(), as_of, as_known_at, ..Default::default() };
    let checks = v1::ListChecksRequest { site: site.clone(), as_known_at };
    let concerns = v1::ListConcernsRequest { site: site.clone(), as_known_at, ..Default::default() };
    let transfers = v1::ListTransfersRequest { site, open_only: true, as_known_at, ..Default::default() };
    [
        format!("{:?}", client.checks().list_due(due).await.unwrap().into_inner()),
        format!("{:?}", client.checks().list_checks(checks).await.unwrap().into_inner()),
        format!("{:?}", client.concerns().list_concerns(concerns).await.unwrap().into_inner()),
        format!("{:?}", client.transfers().list_transfers(transfers).await.unwrap().into_inner()),
    ]
}

#[tokio::test]
async fn whatever_is_written_afterwards() {
    let month = Month::new().await;
    let mut asked = Vec::new();
    for as_of in ["2026-03-02", "2026-03-18", "2026-03-31", "2026-04-02"] {
        for known_at in ["2026-03-18T07:30:00Z", "2026-03-31T23:00:00Z", "2026-04-02T09:00:00Z"] {
            let question = Month::question(as_of, Some(known_at));
            asked.push((question.clone(), month.bytes(question).await));
        }
    }
    // As it comes without a time to be known at, the answer names one with which it can be asked again.
    let now = month.ask(Month::question("2026-03-31", None)).await;
    let question =
        v1::GetSiteDayRequest { as_known_at: now.as_known_at, ..Month::question("2026-03-31", None) };
    asked.push((question, prost::Message::encode_to_vec(&now)));
    let before = month.quill_as_of("2026-03-31").await;
    let known_at = now.as_known_at;
    let listed = lists(&month, known_at).await;
    later_writes(&month).await;
    for (question, bytes) in asked {
        let again = month.ask(question.clone()).await;
        assert_eq!(prost::Message::encode_to_vec(&again), bytes, "{question:?}\n{again:#?}");
    }
    assert_eq!(lists(&month, known_at).await, listed);
    let later = lists(&month, None).await;
    for (then, now) in listed.iter().zip(later) {
        assert_ne!(*then, now);
    }
    // What was written is no matter of indifference: the answer of today is another in each of its parts.
    let after = month.quill_as_of("2026-03-31").await;
    assert_ne!(after.stock, before.stock);
    assert_ne!(after.coverage, before.coverage);
    assert_ne!(after.overdue, before.overdue);
    month.house.close().await;
}

/// Whose name may be told is part of what was known, too.
#[tokio::test]
async fn whoever_gets_a_role_here_afterwards() {
    let month = Month::new().await;
    let question = Month::question("2026-03-31", Some("2026-04-02T09:00:00Z"));
    let before = month.ask(question.clone()).await;
    let steps = &before.sites[0].transfers[0].steps;
    let people: Vec<_> = steps.iter().map(|step| (step.step.as_str(), step.person.as_str())).collect();
    assert_eq!(people, [("proposed", "qui-registrar"), ("agreed", "")]);
    let steward = month.house.steward().await;
    let grant = v1::GrantRoleRequest {
        request_id: month.house.request(),
        sign_in_name: "bra-registrar".to_owned(),
        grant: Some(v1::Grant {
            role: v1::Role::Registrar.into(),
            site: "QUI".to_owned(),
            every_site: false,
        }),
    };
    steward.client.people().grant_role(grant).await.unwrap();
    let after = month.ask(question).await;
    assert_eq!(after, before);
    let now = month.quill_as_of("2026-03-31").await;
    assert_eq!(now.transfers[0].steps[1].person, "bra-registrar", "as of now they are of this site");
    month.house.close().await;
}
