//! Masses arrive to the milligram, and what is no mass of an animal does not.

use super::{Quill, at, morning, outcomes, reading, reasons};
use chrono::TimeDelta;
use holt_proto::notation::mass;
use holt_proto::v1::reading::Result::Mass;
use holt_proto::v1::{self, ErrorReason, ReadingOutcome};

fn milligrams(milligrams: i64) -> v1::reading::Result {
    Mass(v1::Mass { milligrams })
}

#[tokio::test]
async fn what_is_written_in_any_unit_is_kept_to_the_milligram() {
    let quill = Quill::new().await;
    // 1 lb is 453.59237 g by definition (international yard and pound agreement of 1959), an ounce the
    // sixteenth of it; what is finer than a milligram is rounded.
    let written = [
        ("8.2kg", 8_200_000),
        ("8.200001 kg", 8_200_001),
        ("385 g", 385_000),
        ("1 lb", 453_592),
        ("9 lb 3 oz", 4_167_380),
        ("0.004 g", 4),
    ];
    let mut round = quill.house.round("QUI", &[]);
    for (minute, (text, wanted)) in (0..).zip(written) {
        let parsed = mass::parse(text, None).unwrap();
        assert_eq!(parsed, wanted, "{text}");
        let when = at(morning() - TimeDelta::minutes(minute));
        round.readings.push(reading("Bramble", when, milligrams(parsed)));
    }
    quill.weigh(round).await;
    let kept: Vec<i64> = quill.listed("Bramble").await.iter().map(|w| w.mass.unwrap().milligrams).collect();
    assert_eq!(kept, written.map(|(_, wanted)| wanted));
    quill.house.close().await;
}

#[tokio::test]
async fn nothing_less_than_nothing_and_more_than_an_elephant_are_refused() {
    let quill = Quill::new().await;
    const TWENTY_TONNES: i64 = 20_000_000_000;
    let masses = [1, TWENTY_TONNES, 0, -1, i64::MIN, TWENTY_TONNES + 1, i64::MAX];
    let mut round = quill.house.round("QUI", &[]);
    for (minute, mass) in (0..).zip(masses) {
        let when = at(morning() - TimeDelta::minutes(minute));
        round.readings.push(reading("Bramble", when, milligrams(mass)));
    }
    let answer = quill.weigh(round).await;
    let refused = Some(ErrorReason::MassOutOfRange);
    assert_eq!(reasons(&answer), [None, None, refused, refused, refused, refused, refused]);
    // Both are masses; that one animal should have both is asked about.
    assert_eq!(outcomes(&answer)[..2], [ReadingOutcome::SecondWeighing, ReadingOutcome::Accepted]);
    assert_eq!(answer.answers[2].refusal.as_ref().unwrap().field, "mass");
    assert_eq!(quill.listed("Bramble").await.len(), 2);
    quill.house.close().await;
}

#[tokio::test]
async fn a_reading_says_a_mass_or_that_it_was_tried() {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[("Bramble", morning(), 8200), ("Sedge", morning(), 7900)]);
    round.readings[0].result = None;
    let answer = quill.weigh(round).await;
    assert_eq!(reasons(&answer), [Some(ErrorReason::Malformed), None]);
    assert_eq!(answer.answers[0].refusal.as_ref().unwrap().field, "mass");
    assert_eq!(quill.rows("weights").await, 1, "the other row stands");
    quill.house.close().await;
}

/// Bytes that the database cannot keep as text are the row's fault, not the server's.
#[tokio::test]
async fn text_that_cannot_be_kept_is_refused_with_its_field() {
    let quill = Quill::new().await;
    let at = morning();
    let mut round =
        quill.house.round("QUI", &[("Bramble", at, 8200), ("Sedge", at, 7900), ("Teasel", at, 8000)]);
    round.readings.push(round.readings[2].clone());
    round.readings[0].note = "wet\0".to_owned();
    round.readings[1].scale = "platform \u{7}".to_owned();
    round.readings[2].animal = "Teasel\0".to_owned();
    round.readings[3].note = "wet,\n\tbefore the feed".to_owned();
    let answer = quill.weigh(round).await;
    let fields: Vec<_> =
        answer.answers.iter().map(|a| a.refusal.as_ref().map(|refusal| refusal.field.as_str())).collect();
    assert_eq!(fields, [Some("note"), Some("scale"), Some("animal"), None]);
    assert_eq!(reasons(&answer)[..3], [Some(ErrorReason::Malformed); 3]);
    assert_eq!(quill.listed("Teasel").await[0].note, "wet,\n\tbefore the feed");
    quill.house.close().await;
}
