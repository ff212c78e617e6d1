//! What an animal is expected to weigh goes by its states.

use super::Den;
use crate::journeys::weekly_round::{outcomes, steady};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::begin_life_state_request::Since;
use holt_proto::v1::{self, LifeStateKind, ReadingOutcome};
use holt_server::clock::Clock;

impl Den {
    /// Bramble a week later.
    async fn weighs(&self, grams: i64) -> v1::RecordWeightsResponse {
        let at = self.quill.next_week();
        self.quill.weigh(self.quill.house.round("QUI", &[("Bramble", at, grams)])).await
    }
}

/// 1 % a week for eight weeks.
fn moulting(week: i32) -> i64 {
    (0..week).fold(8000, |grams, _| grams * 985 / 1000)
}

/// What it loses while it moults raises nothing; the same without a record is a loss.
#[tokio::test]
async fn a_loss_in_moult_raises_nothing_and_without_the_record_it_does() {
    for recorded in [true, false] {
        let den = Den::new().await;
        den.quill.weekly("Bramble", &steady(30)).await;
        if recorded {
            den.begin("Bramble", LifeStateKind::Moult).await;
        }
        let mut raised = Vec::new();
        for week in 1..=6 {
            raised.extend(den.weighs(moulting(week)).await.concerns);
        }
        assert_eq!(raised.is_empty(), recorded, "{raised:?}");
        if recorded {
            den.end("Bramble", LifeStateKind::Moult).await;
            for back in 1..=6 {
                assert_eq!(den.weighs(moulting(6 - back)).await.concerns, []);
            }
        }
        den.quill.house.close().await;
    }
}

/// A leap that carrying explains is not asked about; recorded late, the doubt ends.
#[tokio::test]
async fn that_she_carries_ends_the_doubt_about_her_gain() {
    let den = Den::new().await;
    den.quill.weekly("Bramble", &steady(30)).await;
    for grams in [8_150, 8_350, 8_600] {
        den.weighs(grams).await;
    }
    let waits = den.weighs(9_350).await;
    assert_eq!(outcomes(&waits), [ReadingOutcome::SecondWeighing]);
    let since = Some(Since::BeganAt(timestamp(den.quill.house.clock.now() - TimeDelta::weeks(5))));
    let carries = v1::BeginLifeStateRequest { since, ..den.beginning("Bramble", LifeStateKind::Carrying) };
    den.quill.park.keeper.client.send(carries).await.unwrap();
    let due =
        v1::ListDueRequest { site: "QUI".into(), duty: v1::Duty::WeighAgain.into(), ..Default::default() };
    assert_eq!(den.quill.park.auditor.client.send(due).await.unwrap().items, []);
    assert_eq!(outcomes(&den.weighs(9_400).await), [ReadingOutcome::Accepted]);
    den.quill.house.close().await;
}

/// She carried nothing, or lost it: what she weighs after that is no loss.
#[tokio::test]
async fn that_she_carries_no_longer_is_no_loss() {
    let den = Den::new().await;
    den.quill.weekly("Bramble", &steady(30)).await;
    den.begin("Bramble", LifeStateKind::Carrying).await;
    for grams in [8_150, 8_300, 8_450, 8_600, 8_800] {
        den.weighs(grams).await;
    }
    den.end("Bramble", LifeStateKind::Carrying).await;
    for grams in steady(8) {
        let answer = den.weighs(grams).await;
        assert_eq!(answer.concerns, []);
    }
    den.quill.house.close().await;
}
