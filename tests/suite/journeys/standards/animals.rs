//! Marks, weights, assessments, checks and diets of animals while they are there.

use super::{Audited, is, question, told, utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;

#[tokio::test]
async fn an_animal_without_a_mark_is_named_until_it_has_one() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "W1").await;
    audited.arrived("Sedge", "").await;
    let before = audited.house.clock.now();
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    let short = is("short", "1 of 2", &["Sedge (QUI-25-0002): no mark recorded"]);
    assert_eq!(told(&answers, "identified"), short);
    let ring = audited.ringed("Sedge", "W2", "2026-02-20T09:00:00Z").await;
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    assert_eq!(told(&answers, "identified"), is("met", "2 of 2", &[]));
    let late = is("short", "1 of 2", &["Sedge (QUI-25-0002): no mark before 2026-02-20"]);
    assert_eq!(told(&answers, "always identified"), late);
    let named = answers.answers.iter().find(|one| one.clause.as_ref().unwrap().number == "always identified");
    let exception = &named.unwrap().exceptions[0];
    assert_eq!(
        (exception.record_id.as_str(), exception.kind()),
        (ring.id.as_str(), v1::ClauseSubject::Animal)
    );

    // What was known before the ring was recorded stays what it was.
    let then = v1::AnswerStandardRequest {
        as_known_at: Some(timestamp(before)),
        ..question("2026-02-01", "2026-03-02")
    };
    let then = audited.ask(&audited.quill.auditor, then).await.unwrap();
    assert_eq!(told(&then, "identified"), short);

    let end = v1::EndMarkRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        animal: "Sedge".to_owned(),
        mark_id: ring.id,
        ended_at: Some(timestamp(utc("2026-02-25T09:00:00Z"))),
        why: "lost".to_owned(),
    };
    audited.quill.registrar.client.send(end).await.unwrap();
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    let lost = is("short", "1 of 2", &["Sedge (QUI-25-0002): no mark after 2026-02-25"]);
    assert_eq!(told(&answers, "identified"), lost);
    audited.house.close().await;
}

/// A pup cannot be marked yet, and an animal that died had its mark until then.
#[tokio::test]
async fn young_animals_are_left_out_and_dead_ones_were_marked() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "W1").await;
    audited.arrived("Dab", "W2").await;
    let pup = audited.house.birth(&audited.quill, "Bramble", "Pip", "2026-02-25".parse().unwrap());
    audited.quill.registrar.client.send(pup).await.unwrap();
    audited.died("Dab", "2026-03-01", v1::DeathManner::Natural).await;
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    assert_eq!(told(&answers, "identified"), is("met", "2 of 2", &[]));
    let unmarked = is("short", "2 of 3", &["Pip (QUI-26-0001): no mark recorded"]);
    assert_eq!(told(&answers, "always identified"), unmarked);
    // Dab had gone before the second of March, and the pup had not been born in January.
    assert_eq!(told(&audited.answers("2026-03-02", "2026-03-02").await, "always identified").1, "1 of 2");
    assert_eq!(told(&audited.answers("2026-01-01", "2026-01-31").await, "always identified").1, "2 of 2");
    audited.house.close().await;
}

#[tokio::test]
async fn a_rhythm_of_weights_is_kept_from_before_the_days() {
    let audited = Audited::new().await;
    for name in ["Bramble", "Sedge", "Teasel"] {
        audited.arrived(name, "").await;
    }
    audited.weighed("Bramble", "2026-01-20T09:00:00Z", 8000).await;
    audited.weighed("Bramble", "2026-02-15T09:00:00Z", 8010).await;
    audited.weighed("Sedge", "2026-01-05T09:00:00Z", 8200).await;
    audited.tried("Teasel", "2026-02-10T09:00:00Z").await;
    let answers = audited.answers("2026-02-01", "2026-03-01").await;
    // Never weighed comes before weighed once; that it was tried is no weight.
    let short = [
        "Teasel (QUI-25-0003): no weight recorded",
        "Sedge (QUI-25-0002): no weight in these days, the last on 2026-01-05",
    ];
    assert_eq!(told(&answers, "weighed"), is("short", "1 of 3", &short));
    assert_eq!(told(&answers, "half weighed"), is("short", "1 of 3", &short));
    audited.weighed("Sedge", "2026-02-20T09:00:00Z", 8210).await;
    audited.weighed("Teasel", "2026-02-20T09:05:00Z", 7900).await;
    let answers = audited.answers("2026-02-01", "2026-03-01").await;
    let gap = "Sedge (QUI-25-0002): no weight for 46 days, 2026-01-05 to 2026-02-20";
    assert_eq!(told(&answers, "weighed"), is("short", "2 of 3", &[gap]));
    // Enough for half of them; the exception is named all the same.
    assert_eq!(told(&answers, "half weighed"), is("met", "2 of 3", &[gap]));
    let answers = audited.answers("2026-02-21", "2026-03-01").await;
    assert_eq!(told(&answers, "weighed"), is("met", "3 of 3", &[]));
    audited.house.close().await;
}

/// It was away for two weeks: that is no gap, and what was weighed elsewhere is no evidence here.
#[tokio::test]
async fn an_animal_that_came_back_is_counted_once() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "W1").await;
    audited.weighed("Bramble", "2026-03-02T05:00:00Z", 8000).await;
    let id = audited.house.moves("Bramble", &audited.quill, &audited.brack).await;
    audited.house.clock.set(utc("2026-03-30T09:00:00Z"));
    audited.house.moves(&id, &audited.brack, &audited.quill).await;
    audited.house.clock.set(utc("2026-04-20T09:00:00Z"));
    let answers = audited.answers("2026-03-01", "2026-04-20").await;
    assert_eq!(told(&answers, "weighed"), is("met", "1 of 1", &[]));
    assert_eq!(told(&answers, "always identified"), is("met", "1 of 1", &[]));
    audited.house.clock.set(utc("2026-05-10T09:00:00Z"));
    let answers = audited.answers("2026-03-01", "2026-05-10").await;
    assert_eq!(told(&answers, "weighed").1, "0 of 1");
    audited.house.close().await;
}

#[tokio::test]
async fn an_assessment_counts_for_its_animal_alone() {
    let audited = Audited::new().await;
    audited.house.load_protocol(&audited.house.steward().await).await;
    audited.arrived("Bramble", "").await;
    audited.arrived("Sedge", "").await;
    let none = is(
        "no_evidence",
        "0 of 2",
        &["Bramble (QUI-25-0001): no assessment recorded", "Sedge (QUI-25-0002): no assessment recorded"],
    );
    assert_eq!(told(&audited.answers("2026-02-01", "2026-03-02").await, "assessed"), none);
    for (animal, wanted) in [
        ("Bramble", is("short", "1 of 2", &["Sedge (QUI-25-0002): no assessment recorded"])),
        ("Sedge", is("met", "2 of 2", &[])),
    ] {
        let assess = audited.house.assessment("QUI", animal, &[("gait", "even")]);
        audited.quill.keeper.client.send(assess).await.unwrap();
        assert_eq!(told(&audited.answers("2026-02-01", "2026-03-02").await, "assessed"), wanted);
    }
    audited.house.close().await;
}

#[tokio::test]
async fn a_due_day_that_was_passed_over_is_named() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "").await;
    audited.arrived("Sedge", "").await;
    let answers = audited.answers("2026-02-02", "2026-03-01").await;
    assert_eq!(told(&answers, "checked").0, "no_evidence", "nobody set up a check");
    let check = v1::CreateCheckRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        duty: v1::Duty::Weigh.into(),
        scope: Some(v1::CheckScope { of: Some(v1::check_scope::Of::WholeSite(true)) }),
        recurrence: "FREQ=WEEKLY;BYDAY=MO".to_owned(),
        starts_on: Some("2026-02-02".parse().unwrap()),
        ..Default::default()
    };
    audited.quill.registrar.client.send(check).await.unwrap();
    for (day, grams) in [("02", 8000), ("09", 8010), ("16", 8005), ("23", 8010)] {
        audited.weighed("Bramble", &format!("2026-02-{day}T09:00:00Z"), grams).await;
    }
    audited.weighed("Sedge", "2026-02-02T09:05:00Z", 8200).await;
    let answers = audited.answers("2026-02-02", "2026-03-01").await;
    let missed = "Sedge (QUI-25-0002): the weighing due on 2026-02-09 was not done";
    assert_eq!(told(&answers, "checked"), is("short", "1 of 2", &[missed]));
    let answers = audited.answers("2026-02-02", "2026-02-02").await;
    assert_eq!(told(&answers, "checked"), is("met", "2 of 2", &[]));
    let answers = audited.answers("2026-02-03", "2026-02-03").await;
    assert_eq!(told(&answers, "checked"), is("not_applicable", "0 of 0", &[]), "nothing was due");
    audited.house.close().await;
}

#[tokio::test]
async fn an_animal_outside_a_group_with_a_plan_has_no_diet() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "").await;
    audited.arrived("Sedge", "").await;
    audited.group("Weir family", &["Bramble"]).await;
    let food = v1::SetFoodRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        name: "Trout".to_owned(),
        kcal_per_g: 1.2,
        source: "invented for tests".to_owned(),
        ..Default::default()
    };
    audited.quill.registrar.client.send(food).await.unwrap();
    let feed = v1::PlannedFeed {
        time_of_day: "06:30".to_owned(),
        food: "Trout".to_owned(),
        mass: Some(v1::Mass { milligrams: 400_000 }),
        method: v1::FeedMethod::Bowl.into(),
        ..Default::default()
    };
    let plan = v1::SetFeedPlanRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        feeds: vec![feed],
        ..Default::default()
    };
    audited.quill.registrar.client.send(plan).await.unwrap();
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    let short = is("short", "1 of 2", &["Sedge (QUI-25-0002): no feed plan recorded"]);
    assert_eq!(told(&answers, "fed"), short);
    audited.joined("Weir family", &["Sedge"]).await;
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    assert_eq!(told(&answers, "fed"), is("met", "2 of 2", &[]));
    audited.house.close().await;
}
