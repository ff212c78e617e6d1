//! Tried first: everything is checked, and nothing is written.

use super::{Quill, at, morning, outcomes, reading, tried};
use chrono::TimeDelta;
use holt_proto::v1::ReadingOutcome;

#[tokio::test]
async fn it_answers_as_the_real_round_would_and_leaves_nothing() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &super::steady(12)).await;
    let mut round = quill.house.round("QUI", &[("Bramble", morning(), 820), ("Nobody", morning(), 8000)]);
    for hours in 0..4 {
        let when = at(morning() - TimeDelta::hours(hours));
        round.readings.push(reading("Sedge", when, tried()));
    }
    round.validate_only = true;
    let tables = ["weights", "concerns", "concern_steps", "requests", "ledger"];
    let mut before = Vec::new();
    for table in tables {
        before.push(quill.rows(table).await);
    }
    let tried_first = quill.weigh(round.clone()).await;
    for (table, before) in tables.into_iter().zip(before) {
        assert_eq!(quill.rows(table).await, before, "{table}");
    }
    assert_eq!(quill.concerns(true).await, []);
    round.validate_only = false;
    let real = quill.weigh(round).await;
    assert_eq!(outcomes(&tried_first), outcomes(&real));
    assert_eq!(
        outcomes(&real),
        [
            ReadingOutcome::SecondWeighing,
            ReadingOutcome::Refused,
            ReadingOutcome::Accepted,
            ReadingOutcome::Accepted,
            ReadingOutcome::Accepted,
            ReadingOutcome::Accepted
        ]
    );
    assert_eq!(tried_first.answers[0].hint, real.answers[0].hint);
    assert_eq!(tried_first.answers[1].refusal, real.answers[1].refusal);
    assert_eq!(tried_first.concerns.len(), 1);
    assert_eq!(tried_first.concerns[0].seen, real.concerns[0].seen);
    quill.house.close().await;
}
