//! What animals go through for a while: recorded with who and when, ended, put right, and read by what they are expected to
//! weigh.

mod ends;
mod put_right;
mod recorded;
mod weights;

use crate::journeys::weekly_round::Quill;
use holt_proto::call::Call;
use holt_proto::v1::{self, LifeStateKind};
use holt_tests::{Person, reason};
use tonic::{Code, Status};

/// A park with three otters and their states.
pub(super) struct Den {
    quill: Quill,
}

impl Den {
    async fn new() -> Self {
        Self { quill: Quill::new().await }
    }

    fn beginning(&self, animal: &str, kind: LifeStateKind) -> v1::BeginLifeStateRequest {
        v1::BeginLifeStateRequest {
            request_id: self.quill.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            kind: kind.into(),
            ..Default::default()
        }
    }

    async fn begin(&self, animal: &str, kind: LifeStateKind) -> v1::LifeState {
        let begin = self.beginning(animal, kind);
        self.quill.park.keeper.client.send(begin).await.unwrap().state.unwrap()
    }

    fn ending(&self, animal: &str, kind: LifeStateKind) -> v1::EndLifeStateRequest {
        v1::EndLifeStateRequest {
            request_id: self.quill.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            kind: kind.into(),
            because: "seen today".to_owned(),
            ..Default::default()
        }
    }

    async fn end(&self, animal: &str, kind: LifeStateKind) -> v1::LifeState {
        let end = self.ending(animal, kind);
        self.quill.park.keeper.client.send(end).await.unwrap().state.unwrap()
    }

    async fn states(&self, also_ended: bool) -> Vec<v1::LifeState> {
        let list = v1::ListLifeStatesRequest { site: "QUI".to_owned(), also_ended, ..Default::default() };
        self.quill.park.auditor.client.send(list).await.unwrap().states
    }

    /// What the history of an animal tells of its states.
    async fn told(&self, animal: &str) -> Vec<v1::Fact> {
        let ask =
            v1::GetHistoryRequest { site: "QUI".into(), animal: animal.to_owned(), ..Default::default() };
        let mut facts = self.quill.park.auditor.client.send(ask).await.unwrap().facts;
        facts.retain(|fact| fact.kind() == v1::FactKind::LifeState);
        facts
    }
}

async fn refused<C: Call + Send>(who: &Person, call: C) -> (Code, String)
where
    C::Answer: std::fmt::Debug,
{
    let refused: Status = who.client.send(call).await.unwrap_err();
    (refused.code(), reason(&refused))
}
