//! What must be done again and again: set up, due, done by the records themselves, and ended.

mod clocks;
mod coverage;
mod ending;
mod fulfilled;
mod poison;
mod rules;
mod scopes;
mod states;

use chrono::{DateTime, Utc};
use holt_proto::v1::{self, DueState, Duty, check_scope::Of};
use holt_server::clock::Clock;
use holt_tests::{House, Park};
use tonic::Status;

/// A park with three otters, Bramble, Sedge and Teasel, and nothing that must be done.
pub(super) struct Duties {
    pub(super) house: House,
    pub(super) park: Park,
}

pub(super) fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

impl Duties {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        for name in ["Bramble", "Sedge", "Teasel"] {
            house.otter(&park, name).await;
        }
        Self { house, park }
    }

    /// A check for the whole site from Monday, 2 March 2026 on, to be sent or changed first.
    pub(super) fn check(&self, duty: Duty, recurrence: &str, grace_days: i32) -> v1::CreateCheckRequest {
        v1::CreateCheckRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            duty: duty.into(),
            scope: Some(v1::CheckScope { of: Some(Of::WholeSite(true)) }),
            recurrence: recurrence.to_owned(),
            starts_on: Some("2026-03-02".parse().unwrap()),
            grace_days,
            by_whom: String::new(),
            note: String::new(),
        }
    }

    /// The same for one animal.
    pub(super) fn check_of(
        &self,
        animal: &str,
        duty: Duty,
        recurrence: &str,
        grace_days: i32,
    ) -> v1::CreateCheckRequest {
        let scope = Some(v1::CheckScope { of: Some(Of::Animal(animal.to_owned())) });
        v1::CreateCheckRequest { scope, ..self.check(duty, recurrence, grace_days) }
    }

    pub(super) async fn set_up(&self, check: v1::CreateCheckRequest) -> Result<v1::Check, Status> {
        let answer = self.park.registrar.client.checks().create_check(check).await?;
        Ok(answer.into_inner().check.unwrap())
    }

    /// What is due as of a day.
    pub(super) async fn due(&self, as_of: &str) -> Vec<v1::DueItem> {
        let list = v1::ListDueRequest {
            site: "QUI".to_owned(),
            as_of: Some(as_of.parse().unwrap()),
            duty: Duty::Unspecified.into(),
            as_known_at: None,
        };
        let answer = self.park.keeper.client.checks().list_due(list).await.unwrap().into_inner();
        assert_eq!(answer.as_of.unwrap().to_string(), as_of);
        answer.items
    }

    /// `Bramble overdue 2026-03-02 +3`: name, state, due day, days late.
    pub(super) async fn told(&self, as_of: &str) -> Vec<String> {
        let told = |item: &v1::DueItem| {
            let state = match item.state() {
                DueState::Due => "due",
                DueState::Overdue => "overdue",
                DueState::Unspecified => "?",
            };
            format!("{} {state} {} +{}", item.house_name, item.due_on.unwrap(), item.days_late)
        };
        self.due(as_of).await.iter().map(told).collect()
    }

    /// Weighs an animal at an instant, and records it then.
    pub(super) async fn weigh(&self, at: &str, animal: &str) {
        let at = utc(at);
        if self.house.clock.now() < at {
            self.house.clock.set(at);
        }
        let round = self.house.round("QUI", &[(animal, at, 8000)]);
        let answer = self.park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        assert_eq!(answer.answers[0].outcome(), v1::ReadingOutcome::Accepted, "{answer:?}");
    }
}
