//! A concern about weight is settled as one of three, and what is expected from then on goes by which.

use super::group::{family, next};
use super::{Quill, steady};
use holt_proto::v1::{self, ConcernKind, ReadingOutcome, SettledAs};
use holt_tests::reason;
use tonic::{Code, Status};

/// What Bramble weighs after so many weeks of losing 1 % a week, with a little noise.
fn losing(week: i32) -> i64 {
    (0..week).fold(8000, |grams, _| grams * 99 / 100)
        + [0, 25, -20, 30, -35, 10, -15][week.unsigned_abs() as usize % 7]
}

fn below(concern: &v1::Concern) -> f64 {
    concern.figures.iter().find(|figure| figure.name == "below expected").unwrap().value
}

impl Quill {
    async fn next_of(&self, grams: i64) -> v1::RecordWeightsResponse {
        let at = self.next_week();
        self.weigh(self.house.round("QUI", &[("Bramble", at, grams)])).await
    }
}

/// Weighs Bramble, who loses 1 % a week, until a concern is raised; answers it and the week.
async fn until_raised(quill: &Quill) -> (i32, v1::Concern) {
    quill.weekly("Bramble", &steady(30)).await;
    for week in 1..=12 {
        if let Some(concern) = quill.next_of(losing(week)).await.concerns.pop() {
            return (week, concern);
        }
    }
    panic!("a loss of 12 % in twelve weeks raised nothing");
}

async fn malformed(refused: Result<v1::Concern, Status>) {
    let refused = refused.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
}

#[tokio::test]
async fn as_what_is_asked_of_weight_and_of_nothing_else() {
    let quill = Quill::new().await;
    let (_, concern) = until_raised(&quill).await;
    malformed(quill.settles(&concern, SettledAs::Unspecified).await).await;
    let settled = quill.settles(&concern, SettledAs::Treated).await.unwrap();
    assert_eq!((settled.kind(), settled.settled_as()), (ConcernKind::WeightTrend, SettledAs::Treated));
    assert_eq!(quill.concerns(true).await, [settled]);
    for _ in 0..4 {
        let mut round = quill.house.round("QUI", &[]);
        round.readings.push(super::reading("Sedge", super::at(quill.next_week()), super::tried()));
        quill.weigh(round).await;
    }
    let refusals = quill.concerns(false).await.remove(0);
    assert_eq!(refusals.kind(), ConcernKind::ScaleRefused);
    malformed(quill.settles(&refusals, SettledAs::FalseAlarm).await).await;
    let settled = quill.settles(&refusals, SettledAs::Unspecified).await.unwrap();
    assert_eq!(settled.settled_as(), SettledAs::Unspecified);
    quill.house.close().await;
}

/// Whoever writes past the rules cannot settle one without saying it, or say it with another step.
#[tokio::test]
async fn the_database_wants_it_said() {
    let quill = Quill::new().await;
    let (_, concern) = until_raised(&quill).await;
    let mut owner = quill.house.owner().await;
    for (step, settled_as) in [("settled", None), ("changed", Some("treated"))] {
        let refused = sqlx::query(
            "INSERT INTO concern_steps SELECT x.concern_id, x.seq + 1, x.site_id, $2, x.level, x.seen, x.look_first, x.figures,
                    x.record_ids, x.note, $3, x.recorded_at, x.recorded_by, x.request_id
               FROM concern_steps x WHERE x.concern_id = $1::text::uuid ORDER BY x.seq DESC LIMIT 1",
        )
        .bind(&concern.id)
        .bind(step)
        .bind(settled_as)
        .execute(&mut owner)
        .await
        .unwrap_err();
        let refused = refused.into_database_error().unwrap();
        assert_eq!(refused.constraint(), Some("concern_steps_meaning_guard"), "{refused}");
    }
    drop(owner);
    quill.house.close().await;
}

#[tokio::test]
async fn treated_and_going_on_it_is_told_again_within_three_weeks_by_the_old_weight() {
    let quill = Quill::new().await;
    let (week, concern) = until_raised(&quill).await;
    quill.settles(&concern, SettledAs::Treated).await.unwrap();
    let mut again = None;
    for more in 1..=3 {
        again = again.or(quill.next_of(losing(week + more)).await.concerns.pop().map(|told| (more, told)));
    }
    let (_, again) = again.expect("told within 21 days");
    assert_ne!(again.id, concern.id);
    assert!(below(&again) > below(&concern), "from the old weight: {again:?}");
    quill.house.close().await;
}

#[tokio::test]
async fn treated_and_made_up_for_it_is_over() {
    let quill = Quill::new().await;
    let (week, concern) = until_raised(&quill).await;
    quill.settles(&concern, SettledAs::Treated).await.unwrap();
    for back in 1..=week {
        assert_eq!(quill.next_of(losing(week - back)).await.concerns, []);
    }
    for steady in steady(10) {
        assert_eq!(quill.next_of(steady).await.concerns, []);
    }
    quill.house.close().await;
}

#[tokio::test]
async fn treated_and_no_better_it_is_told_again() {
    let quill = Quill::new().await;
    let (week, concern) = until_raised(&quill).await;
    quill.settles(&concern, SettledAs::Treated).await.unwrap();
    let mut told = Vec::new();
    for n in 0..12 {
        let noise = [20, -15, 30, -25, 5, -10][n % 6];
        told.extend(quill.next_of(losing(week) + noise).await.concerns);
    }
    assert!(!told.is_empty(), "nothing was made up for in twelve weeks");
    assert!(below(&told[0]) > 0.6 * below(&concern), "{told:?}");
    quill.house.close().await;
}

/// What was expected before stays so: back at it, nothing is remarkable.
#[tokio::test]
async fn a_false_alarm_leaves_what_was_expected() {
    let quill = Quill::new().await;
    let (_, concern) = until_raised(&quill).await;
    quill.settles(&concern, SettledAs::FalseAlarm).await.unwrap();
    for grams in steady(12) {
        let answer = quill.next_of(grams).await;
        assert_eq!(answer.answers[0].outcome(), ReadingOutcome::Accepted);
        assert_eq!(answer.concerns, []);
    }
    quill.house.close().await;
}

/// From there a loss is counted, and not from the old weight.
#[tokio::test]
async fn a_new_normal_is_expected_from_then_on() {
    let quill = Quill::new().await;
    let (week, concern) = until_raised(&quill).await;
    quill.settles(&concern, SettledAs::NewNormal).await.unwrap();
    for n in 0..10 {
        let noise = [20, -15, 30, -25, 5, -10][n % 6];
        assert_eq!(quill.next_of(losing(week) + noise).await.concerns, []);
    }
    let mut told = None;
    for more in 1..=14 {
        told = told.or(quill.next_of(losing(week + more)).await.concerns.pop().map(|told| (more, told)));
    }
    let (more, told) = told.expect("another loss");
    let lost = f64::from(more);
    assert!(below(&told) < lost + 4.0, "of {lost} % from there: {told:?}");
    quill.house.close().await;
}

/// Put right: settled as the wrong one of three, the loss is told again and settled as the right one.
#[tokio::test]
async fn what_was_settled_as_treated_by_mistake_is_settled_once_more() {
    let quill = Quill::new().await;
    let (week, concern) = until_raised(&quill).await;
    quill.settles(&concern, SettledAs::Treated).await.unwrap();
    let mut told = None;
    let mut last = week;
    while told.is_none() {
        last += 1;
        assert!(last < week + 5);
        told = quill.next_of(losing(last)).await.concerns.pop();
    }
    quill.settles(&told.unwrap(), SettledAs::NewNormal).await.unwrap();
    for n in 0..10 {
        let noise = [20, -15, 30, -25, 5, -10][n % 6];
        assert_eq!(quill.next_of(losing(last) + noise).await.concerns, []);
    }
    quill.house.close().await;
}

fn all_lose(week: usize) -> f64 {
    0.99_f64.powi(i32::try_from(week + 1).unwrap())
}

async fn until_group_is_raised(quill: &Quill) -> (usize, v1::Concern) {
    for week in 0..10 {
        next(quill, week, |_| all_lose(week)).await;
        if let Some(concern) = quill.concerns(false).await.pop() {
            assert_eq!(concern.kind(), ConcernKind::GroupWeight);
            return (week, concern);
        }
    }
    panic!("a loss of 10 % of all of them raised nothing");
}

#[tokio::test]
async fn a_group_that_is_treated_and_goes_on_is_told_again_by_the_old_weight() {
    let quill = family().await;
    let (week, concern) = until_group_is_raised(&quill).await;
    malformed(quill.settles(&concern, SettledAs::Unspecified).await).await;
    quill.settles(&concern, SettledAs::Treated).await.unwrap();
    let mut again = None;
    for more in 1..=3 {
        let told = next(&quill, week + more, |_| all_lose(week + more)).await.concerns.pop();
        again = again.or(told);
    }
    let again = again.expect("told within 21 days");
    assert_eq!(again.kind(), ConcernKind::GroupWeight);
    assert!(again.id != concern.id && below(&again) > below(&concern), "{again:?} after {concern:?}");
    quill.house.close().await;
}

#[tokio::test]
async fn a_group_that_recovers_is_told_no_more() {
    let quill = family().await;
    let (week, concern) = until_group_is_raised(&quill).await;
    quill.settles(&concern, SettledAs::Treated).await.unwrap();
    for back in 1..=week {
        let factor = all_lose(week - back);
        assert_eq!(next(&quill, week + back, |_| factor).await.concerns, []);
    }
    for more in 1..=10 {
        assert_eq!(next(&quill, 2 * week + more, |_| 1.0).await.concerns, []);
    }
    quill.house.close().await;
}
