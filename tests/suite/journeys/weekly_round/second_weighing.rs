//! A reading far off is kept, set aside, and asked for again.

use super::{Quill, at, grams, morning, outcomes, reading, steady};
use chrono::TimeDelta;
use holt_proto::v1::{self, ConcernKind, ReadingOutcome};

async fn weigh(quill: &Quill, minutes: i64, mass: i64) -> v1::RecordWeightsResponse {
    let mut round = quill.house.round("QUI", &[]);
    round.readings.push(reading("Bramble", at(morning() + TimeDelta::minutes(minutes)), grams(mass)));
    quill.weigh(round).await
}

#[tokio::test]
async fn far_off_is_asked_for_again_with_what_was_expected_and_what_may_have_happened() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(12)).await;
    for (minute, (mass, hint)) in (0..).zip([
        (800, "decimal point is one place too far left"),
        (80_000, "decimal point is one place too far right"),
        (8_000_000, "grams were entered as kilograms"),
        (8, "kilograms were entered as grams"),
        (17_637, "pounds were entered as kilograms"),
        (3_629, "kilograms were entered as pounds"),
        (9_900, ""),
    ]) {
        let answer = weigh(&quill, minute, mass).await;
        assert_eq!(outcomes(&answer), [ReadingOutcome::SecondWeighing], "{mass}");
        let answer = &answer.answers[0];
        assert!(answer.hint.contains(hint) && (hint.is_empty() == answer.hint.is_empty()), "{answer:?}");
        let forecast = answer.forecast.unwrap();
        let [low, expected, high] =
            [forecast.low, forecast.expected, forecast.high].map(|mass| mass.unwrap().milligrams);
        assert!((7_900_000..=8_100_000).contains(&expected), "{forecast:?}");
        assert!(low < expected && expected < high && (low..=high).contains(&8_200_000), "{forecast:?}");
    }
    assert!(quill.listed("Bramble").await[..7].iter().all(|weight| weight.awaits_second));
    quill.house.close().await;
}

/// Two readings tell what it weighs to within what is usual of all kinds.
#[tokio::test]
async fn with_little_history_what_is_usual_of_all_kinds_is_asked_for() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(2)).await;
    let absurd = weigh(&quill, 0, 800).await;
    assert_eq!(outcomes(&absurd), [ReadingOutcome::SecondWeighing]);
    assert!(absurd.answers[0].hint.contains("too far left"), "{absurd:?}");
    assert_eq!(outcomes(&weigh(&quill, 5, 3000).await), [ReadingOutcome::SecondWeighing]);
    assert_eq!(outcomes(&weigh(&quill, 10, 7800).await), [ReadingOutcome::Accepted]);
    quill.house.close().await;
}

/// Alone it may be a slip, and raises nothing. Once another agrees with it, it is so: both count.
#[tokio::test]
async fn set_aside_it_raises_nothing_and_confirmed_it_counts() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    let first = weigh(&quill, 0, 6800).await;
    assert_eq!(outcomes(&first), [ReadingOutcome::SecondWeighing]);
    assert_eq!(first.concerns, [], "it is set aside from the trend");
    assert!(quill.listed("Bramble").await[0].awaits_second);
    let second = weigh(&quill, 5, 6820).await;
    assert_eq!(outcomes(&second), [ReadingOutcome::Accepted], "it confirms the first");
    let [concern] = second.concerns.as_slice() else { panic!("{second:?}") };
    assert_eq!(concern.kind(), ConcernKind::WeightTrend);
    let rests_on = [&first.answers[0].weight_id, &second.answers[0].weight_id];
    assert!(rests_on.iter().all(|id| concern.record_ids.contains(id)), "{concern:?}");
    let listed = quill.listed("Bramble").await;
    assert!(listed[..2].iter().all(|weight| !weight.awaits_second), "neither waits for a second any more");
    quill.house.close().await;
}

#[tokio::test]
async fn a_second_weighing_that_fits_leaves_the_first_aside() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    weigh(&quill, 0, 6800).await;
    let second = weigh(&quill, 5, 8010).await;
    assert_eq!(outcomes(&second), [ReadingOutcome::Accepted]);
    assert_eq!(second.concerns, []);
    let listed = quill.listed("Bramble").await;
    assert_eq!([listed[0].awaits_second, listed[1].awaits_second], [false, true]);
    quill.house.close().await;
}

#[tokio::test]
async fn an_estimate_is_kept_and_judged_by_nobody() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    let mut round = quill.house.round("QUI", &[("Bramble", morning(), 5000)]);
    round.readings[0].method = v1::WeighingMethod::Estimate.into();
    let answer = quill.weigh(round).await;
    assert_eq!(outcomes(&answer), [ReadingOutcome::Accepted]);
    assert_eq!(answer.concerns, []);
    assert_eq!(quill.listed("Bramble").await[0].method(), v1::WeighingMethod::Estimate);
    // It stands in nobody's way: the next reading is expected where the scale had it.
    assert_eq!(outcomes(&weigh(&quill, 5, 8000).await), [ReadingOutcome::Accepted]);
    quill.house.close().await;
}
