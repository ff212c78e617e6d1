//! An animal that refuses the scale again and again.

use super::{Quill, at, grams, outcomes, reading, tried};
use holt_proto::v1::{self, ConcernKind, ConcernState, ReadingOutcome};

/// Whether a figure of a concern is this, to the last digits that a double keeps.
fn is(concern: &v1::Concern, name: &str, wanted: f64) -> bool {
    let figure = concern.figures.iter().find(|figure| figure.name == name).unwrap();
    (figure.value / wanted - 1.0).abs() < 1e-12
}

async fn try_in_vain(quill: &Quill) -> v1::RecordWeightsResponse {
    let mut round = quill.house.round("QUI", &[]);
    round.readings.push(reading("Bramble", at(quill.next_week()), tried()));
    quill.weigh(round).await
}

#[tokio::test]
async fn three_refusals_in_a_row_raise_one_concern_that_says_so() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &super::steady(10)).await;
    let mut raised = Vec::new();
    let mut records = Vec::new();
    for _ in 0..4 {
        let answer = try_in_vain(&quill).await;
        records.push(answer.answers[0].weight_id.clone());
        raised.push(answer.concerns);
    }
    assert_eq!(raised.iter().map(Vec::len).collect::<Vec<_>>(), [0, 0, 1, 1]);
    let (third, fourth) = (&raised[2][0], &raised[3][0]);
    assert_eq!((third.kind(), third.state()), (ConcernKind::ScaleRefused, ConcernState::Raised));
    assert_eq!(third.record_ids, records[..3]);
    // Ten tries, none refused: (0 + 1) / (10 + 10) = 5 % by habit, so three in a row by chance 0.05³.
    assert!(is(third, "consecutive times declined", 3.0), "{third:?}");
    assert!(is(third, "declined before", 5.0), "{third:?}");
    assert!(is(third, "chance of such a row by habit", 0.000_125), "{third:?}");
    // Carried on, not raised again.
    assert_eq!((fourth.id.as_str(), fourth.version), (third.id.as_str(), 2));
    assert!(is(fourth, "consecutive times declined", 4.0), "{fourth:?}");
    assert_eq!(quill.concerns(true).await.len(), 1);
    quill.house.close().await;
}

#[tokio::test]
async fn once_it_comes_again_the_concern_goes_quiet_and_waits_for_a_person() {
    let quill = Quill::new().await;
    // Of an animal that nobody knows yet it takes one more: (0 + 1) / (0 + 10) tries are refused by habit.
    for _ in 0..4 {
        try_in_vain(&quill).await;
    }
    let mut round = quill.house.round("QUI", &[]);
    round.readings.push(reading("Bramble", at(quill.next_week()), grams(8000)));
    let answer = quill.weigh(round).await;
    assert_eq!(outcomes(&answer), [ReadingOutcome::Accepted]);
    let [quiet] = answer.concerns.as_slice() else { panic!("{answer:?}") };
    assert_eq!(
        (quiet.state(), quiet.level(), quiet.version),
        (ConcernState::Raised, v1::ConcernLevel::Watch, 2)
    );
    assert!(quiet.seen.contains("came to the scale again"), "{quiet:?}");
    quill.house.close().await;
}

/// What people have settled is known: it takes a new row of refusals to raise it anew.
#[tokio::test]
async fn what_was_settled_is_not_raised_again_at_once() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &super::steady(10)).await;
    for _ in 0..3 {
        try_in_vain(&quill).await;
    }
    let concern = quill.concerns(false).await.swap_remove(0);
    let settle = v1::SettleConcernRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        concern_id: concern.id.clone(),
        because: "a sore foot, treated; it will not climb for some weeks".to_owned(),
        version: concern.version,
        ..Default::default()
    };
    quill.park.keeper.client.concerns().settle_concern(settle).await.unwrap();
    assert_eq!(try_in_vain(&quill).await.concerns, []);
    assert_eq!(try_in_vain(&quill).await.concerns, []);
    let [again] = try_in_vain(&quill).await.concerns.try_into().unwrap();
    assert_ne!(again.id, concern.id);
    assert!(is(&again, "consecutive times declined", 3.0), "{again:?}");
    quill.house.close().await;
}
