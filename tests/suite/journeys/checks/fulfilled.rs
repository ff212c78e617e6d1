//! A check is done by the records themselves.

use super::{Duties, utc};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, Duty, WeighingMethod};

#[tokio::test]
async fn a_weight_does_weighing_and_an_assessment_assessment() {
    let duties = Duties::new().await;
    duties.house.load_protocol(&duties.house.steward().await).await;
    for duty in [Duty::Weigh, Duty::Assess] {
        duties.set_up(duties.check_of("Bramble", duty, "FREQ=WEEKLY;BYDAY=MO", 0)).await.unwrap();
    }
    let open =
        async || -> Vec<Duty> { duties.due("2026-03-02").await.iter().map(v1::DueItem::duty).collect() };
    assert_eq!(open().await, [Duty::Weigh, Duty::Assess]);
    duties.weigh("2026-03-02T08:00:00Z", "Bramble").await;
    assert_eq!(open().await, [Duty::Assess]);
    let assessment = duties.house.assessment("QUI", "Bramble", &[("gait", "even")]);
    duties.park.keeper.client.assessments().record_assessment(assessment).await.unwrap();
    assert_eq!(open().await, []);
    duties.house.close().await;
}

#[tokio::test]
async fn an_estimate_or_a_try_or_another_animal_does_not() {
    let duties = Duties::new().await;
    duties.set_up(duties.check_of("Bramble", Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 0)).await.unwrap();
    let at = utc("2026-03-02T05:00:00Z");
    let mut round = duties.house.round(
        "QUI",
        &[("Bramble", at, 8000), ("Bramble", at + TimeDelta::minutes(1), 1), ("Sedge", at, 8000)],
    );
    round.readings[0].method = WeighingMethod::Estimate.into();
    round.readings[1].result = Some(v1::reading::Result::Tried(v1::Tried {}));
    let answer = duties.park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
    assert!(answer.answers.iter().all(|one| one.outcome() == v1::ReadingOutcome::Accepted), "{answer:?}");
    let items = duties.due("2026-03-02").await;
    let [item] = items.as_slice() else { panic!("{items:?}") };
    assert_eq!(item.last_done_on, None);
    assert_eq!(item.tried_on.unwrap().to_string(), "2026-03-02", "it is told that it was tried");
    duties.weigh("2026-03-02T09:00:00Z", "Bramble").await;
    assert_eq!(duties.due("2026-03-02").await, []);
    duties.house.close().await;
}

/// A day counts for the due day that it is nearest to.
#[tokio::test]
async fn early_and_late_records_count_for_the_nearest_due_day() {
    let duties = Duties::new().await;
    duties.set_up(duties.check_of("Bramble", Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 0)).await.unwrap();
    // Thursday is nearer to Monday the 2nd, Friday to Monday the 9th.
    duties.weigh("2026-03-05T09:00:00Z", "Bramble").await;
    assert_eq!(duties.told("2026-03-09").await, ["Bramble due 2026-03-09 +0"]);
    duties.weigh("2026-03-06T09:00:00Z", "Bramble").await;
    assert_eq!(duties.told("2026-03-09").await, [""; 0]);
    assert_eq!(duties.told("2026-03-16").await, ["Bramble due 2026-03-16 +0"]);
    duties.house.close().await;
}

/// A round that was kept on paper is entered later; from then on it was done then.
#[tokio::test]
async fn what_is_entered_late_was_done_in_time() {
    let duties = Duties::new().await;
    duties.set_up(duties.check_of("Bramble", Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 0)).await.unwrap();
    duties.house.clock.set(utc("2026-03-06T09:00:00Z"));
    assert_eq!(duties.told("2026-03-05").await, ["Bramble overdue 2026-03-02 +3"]);
    duties.weigh("2026-03-02T09:00:00Z", "Bramble").await;
    assert_eq!(duties.told("2026-03-05").await, [""; 0]);
    let report = v1::GetSiteDayRequest {
        site: "QUI".to_owned(),
        as_of: Some("2026-03-05".parse().unwrap()),
        span_days: 30,
        as_known_at: None,
    };
    let told = async |known_at: Option<&str>| {
        let report =
            v1::GetSiteDayRequest { as_known_at: known_at.map(|at| timestamp(utc(at))), ..report.clone() };
        let day = duties.park.auditor.client.reports().get_site_day(report).await.unwrap().into_inner();
        let weighing = &day.sites[0].coverage[0];
        (weighing.done_in_time, weighing.open)
    };
    assert_eq!(told(None).await, (1, 0));
    assert_eq!(told(Some("2026-03-06T08:00:00Z")).await, (0, 1), "until it was entered, it was open");
    duties.house.close().await;
}
