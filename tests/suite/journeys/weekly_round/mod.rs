//! A keeper weighs a group, week after week.

mod absent_animal;
mod background;
mod concern;
mod exchange;
mod group;
mod happy;
mod mixed;
mod repeat;
mod replay;
mod scale_refused;
mod second_weighing;
mod settled;
mod size;
mod state;
mod times;
mod tried;
mod typed;
mod units;
mod validate_only;
mod waiting;
mod worked_out_again;

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, ErrorReason, ReadingOutcome};
use holt_server::clock::Clock;
use holt_tests::house::start_of_time;
use holt_tests::{House, Park};
use tonic::Status;

/// A park with three otters: Bramble, Sedge and Teasel.
pub(super) struct Quill {
    pub(super) house: House,
    pub(super) park: Park,
}

impl Quill {
    pub(super) async fn new() -> Self {
        Self::in_house(House::new().await).await
    }

    pub(super) async fn in_house(house: House) -> Self {
        let park = house.quill().await;
        for name in ["Bramble", "Sedge", "Teasel"] {
            house.otter(&park, name).await;
        }
        Self { house, park }
    }

    pub(super) async fn weigh(&self, round: v1::RecordWeightsRequest) -> v1::RecordWeightsResponse {
        let round = self.park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        assert!(round.answers.iter().enumerate().all(|(n, answer)| usize::try_from(answer.index) == Ok(n)));
        round
    }

    /// Records readings of one animal, one a week, the last of them a week ago.
    pub(super) async fn weekly(&self, animal: &str, grams: &[i64]) {
        let weeks = i64::try_from(grams.len()).unwrap();
        let at = |n: usize| morning() - TimeDelta::weeks(weeks - i64::try_from(n).unwrap());
        let readings: Vec<_> = grams.iter().enumerate().map(|(n, grams)| (animal, at(n), *grams)).collect();
        let answer = self.weigh(self.house.round("QUI", &readings)).await;
        assert!(answer.answers.iter().all(|a| a.outcome() == ReadingOutcome::Accepted), "{answer:?}");
        assert_eq!(answer.concerns, [], "a steady past");
    }

    /// The newest reading first.
    pub(super) async fn listed(&self, animal: &str) -> Vec<v1::Weight> {
        let list = v1::ListWeightsRequest { site: "QUI".into(), animal: animal.into(), ..Default::default() };
        self.park.auditor.client.weights().list_weights(list).await.unwrap().into_inner().weights
    }

    pub(super) async fn concerns(&self, include_settled: bool) -> Vec<v1::Concern> {
        let list = v1::ListConcernsRequest { site: "QUI".into(), include_settled, ..Default::default() };
        self.park.auditor.client.concerns().list_concerns(list).await.unwrap().into_inner().concerns
    }

    /// The keeper settles a concern about weight as one of three.
    pub(super) async fn settles(
        &self,
        concern: &v1::Concern,
        settled_as: v1::SettledAs,
    ) -> Result<v1::Concern, Status> {
        let settle = v1::SettleConcernRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            concern_id: concern.id.clone(),
            because: "she was too fat; the new ration is as planned".to_owned(),
            settled_as: settled_as.into(),
            ..Default::default()
        };
        Ok(self.park.keeper.client.send(settle).await?.concern.unwrap())
    }

    /// Rows of a table.
    pub(super) async fn rows(&self, table: &'static str) -> i64 {
        let count = format!("SELECT count(*) FROM {table}");
        let mut owner = self.house.owner().await;
        sqlx::query_scalar(sqlx::AssertSqlSafe(count)).fetch_one(&mut owner).await.unwrap()
    }

    /// A week goes by.
    pub(super) fn next_week(&self) -> DateTime<Utc> {
        self.house.clock.advance(TimeDelta::weeks(1));
        self.house.clock.now() - TimeDelta::hours(1)
    }
}

/// An hour before the tests begin.
pub(super) fn morning() -> DateTime<Utc> {
    start_of_time() - TimeDelta::hours(1)
}

/// About as much as an otter weighs, week by week, in grams: 8000, give or take a percent.
pub(super) fn steady(weeks: usize) -> Vec<i64> {
    (0..weeks).map(|week| 8000 + 25 * [0, 2, -1, 3, -3, 1, -2][week % 7]).collect()
}

pub(super) fn reading(animal: &str, when: v1::reading::When, result: v1::reading::Result) -> v1::Reading {
    v1::Reading { animal: animal.to_owned(), when: Some(when), result: Some(result), ..Default::default() }
}

pub(super) fn at(instant: DateTime<Utc>) -> v1::reading::When {
    v1::reading::When::WeighedAt(timestamp(instant))
}

pub(super) fn on(day: &str) -> v1::reading::When {
    v1::reading::When::WeighedOn(day.parse().unwrap())
}

pub(super) fn grams(grams: i64) -> v1::reading::Result {
    v1::reading::Result::Mass(v1::Mass { milligrams: grams * 1000 })
}

pub(super) const fn tried() -> v1::reading::Result {
    v1::reading::Result::Tried(v1::Tried {})
}

pub(super) fn outcomes(answer: &v1::RecordWeightsResponse) -> Vec<ReadingOutcome> {
    answer.answers.iter().map(v1::ReadingAnswer::outcome).collect()
}

/// Why each reading was refused, of those that were.
pub(super) fn reasons(answer: &v1::RecordWeightsResponse) -> Vec<Option<ErrorReason>> {
    answer.answers.iter().map(|answer| answer.refusal.as_ref().map(v1::ReadingRefusal::reason)).collect()
}
