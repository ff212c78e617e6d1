//! The past, watched again: what would have been raised when.

use super::{Quill, morning, steady};
use chrono::{NaiveDate, TimeDelta};
use holt_proto::time::{day, day_bounds};
use holt_proto::v1::{self, ConcernChange, ConcernKind};
use holt_tests::reason;
use tonic::Status;

const WEEKS: i64 = 40;

/// Bramble holds for 30 weeks and then loses 1.5 % a week; Sedge holds.
async fn told() -> Quill {
    let quill = Quill::new().await;
    let mut round = Vec::new();
    for (n, (held, grams)) in (0..).zip(steady(40).into_iter().zip(steady(40))) {
        let lost = if n < 30 { 1.0 } else { 0.985_f64.powi(n - 29) };
        #[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "grams of an otter")]
        let losing = (grams as f64 * lost) as i64;
        let at = morning() - TimeDelta::weeks(WEEKS - i64::from(n));
        round.extend([("Bramble", at, losing), ("Sedge", at, held)]);
    }
    quill.weigh(quill.house.round("QUI", &round)).await;
    quill
}

fn first() -> NaiveDate {
    (morning() - TimeDelta::weeks(WEEKS)).date_naive()
}

async fn replay(quill: &Quill, thresholds: &[(&str, f64)]) -> Result<v1::ReplayConcernsResponse, Status> {
    let thresholds =
        thresholds.iter().map(|(name, value)| v1::Threshold { name: (*name).to_owned(), value: *value });
    let request = v1::ReplayConcernsRequest {
        site: "QUI".to_owned(),
        days: Some(v1::DaySpan { first: Some(day(first())), last: Some(day(morning().date_naive())) }),
        thresholds: thresholds.collect(),
        ..Default::default()
    };
    Ok(quill.park.auditor.client.concerns().replay_concerns(request).await?.into_inner())
}

#[tokio::test]
async fn a_loss_would_have_been_told_of_while_it_went_on_and_nothing_else() {
    let quill = told().await;
    let before = quill.rows("concern_steps").await;
    let answer = replay(&quill, &[]).await.unwrap();
    let today = answer.today.unwrap();
    assert_eq!((today.raised, answer.otherwise, answer.animals), (1, None, 3), "{:?}", today.told);
    assert!((answer.animal_years - 3.0 * 41.0 * 7.0 / 365.25).abs() < 0.1, "{}", answer.animal_years);
    let raised = &today.told[0];
    assert_eq!((raised.house_name.as_str(), raised.kind()), ("Bramble", ConcernKind::WeightTrend));
    assert_eq!(raised.change(), ConcernChange::Raised);
    let (on, _) = day_bounds(raised.told_on.unwrap()).unwrap();
    let began = first() + TimeDelta::weeks(30);
    assert!((began..began + TimeDelta::weeks(8)).contains(&on), "{on}");
    assert!(today.told.iter().all(|one| one.house_name == "Bramble"), "{:?}", today.told);
    assert_eq!(quill.rows("concern_steps").await, before, "it records nothing");
    quill.house.close().await;
}

#[tokio::test]
async fn who_asks_for_fewer_false_concerns_is_told_later() {
    let quill = told().await;
    let told_on = async |false_a_year: f64| {
        let answer = replay(&quill, &[("false_a_year", false_a_year)]).await.unwrap();
        [answer.today.unwrap(), answer.otherwise.unwrap()].map(|replayed| {
            let of = replayed.told.into_iter().find(|one| one.house_name == "Bramble").unwrap();
            day_bounds(of.told_on.unwrap()).unwrap().0
        })
    };
    let ([usual, rare], [again, often]) = (told_on(0.02).await, told_on(1.0).await);
    assert_eq!(usual, again);
    assert!(often <= usual && usual <= rare && often < rare, "{often}, {usual}, {rare}");
    quill.house.close().await;
}

#[tokio::test]
async fn what_is_no_threshold_is_told_with_those_that_there_are() {
    let quill = Quill::new().await;
    for (name, value) in
        [("loudness", 1.0), ("false_a_year", 0.0), ("false_a_year", f64::NAN), ("false_a_year", 1.5)]
    {
        let refused = replay(&quill, &[("false_a_year", 0.2), (name, value)]).await.unwrap_err();
        assert_eq!(reason(&refused), "MALFORMED");
        assert!(String::from_utf8_lossy(refused.details()).contains("thresholds[1]"), "{refused:?}");
    }
    let keeper = quill.park.auditor.client.concerns();
    let request = v1::ReplayConcernsRequest { site: "QUI".to_owned(), ..Default::default() };
    let refused = { keeper }.replay_concerns(request).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    quill.house.close().await;
}
