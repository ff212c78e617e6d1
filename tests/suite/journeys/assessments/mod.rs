//! Welfare assessments: protocols loaded, findings entered, domains graded.
//!
//! The protocol is the cast's own, `otter-watch`: body condition (nutrition), the temperature of the water
//! (environment, a resource), gait (health) and play (behaviour).

mod fit;
mod grades;
mod listed;
mod loading;

use holt_proto::v1;
use holt_tests::cast::PROTOCOL;
use holt_tests::{House, Park, Person};
use tonic::Status;
use tonic_types::StatusExt;

/// A park with Bramble, an otter, and the protocol loaded.
pub(super) struct Watch {
    pub(super) house: House,
    pub(super) park: Park,
    pub(super) steward: Person,
}

impl Watch {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        house.otter(&park, "Bramble").await;
        let steward = house.steward().await;
        house.load_protocol(&steward).await;
        Self { house, park, steward }
    }

    /// An assessment of Bramble, now, of named levels, to be sent or changed first.
    pub(super) fn look(&self, levels: &[(&str, &str)]) -> v1::RecordAssessmentRequest {
        self.house.assessment("QUI", "Bramble", levels)
    }

    pub(super) async fn assess(&self, new: v1::RecordAssessmentRequest) -> Result<v1::Assessment, Status> {
        let answer = self.park.keeper.client.assessments().record_assessment(new).await?;
        Ok(answer.into_inner().assessment.unwrap())
    }

    pub(super) async fn load(&self, toml: &str) -> Result<v1::Protocol, Status> {
        let load = v1::LoadProtocolRequest {
            request_id: self.house.request(),
            toml: toml.to_owned(),
            ..Default::default()
        };
        Ok(self.steward.client.assessments().load_protocol(load).await?.into_inner().protocol.unwrap())
    }

    pub(super) async fn protocols(&self) -> Vec<v1::Protocol> {
        let list = v1::ListProtocolsRequest {};
        self.park.keeper.client.assessments().list_protocols(list).await.unwrap().into_inner().protocols
    }

    pub(super) async fn listed(&self, list: v1::ListAssessmentsRequest) -> Vec<v1::Assessment> {
        self.park.auditor.client.assessments().list_assessments(list).await.unwrap().into_inner().assessments
    }
}

/// The protocol with one thing changed in its text, as its second version.
pub(super) fn changed(from: &str, to: &str) -> String {
    let second = PROTOCOL.replacen("version = 1", "version = 2", 1);
    assert!(second.contains(from), "{from}");
    second.replacen(from, to, 1)
}

pub(super) fn number(indicator: &str, number: f64) -> v1::Finding {
    v1::Finding {
        indicator: indicator.to_owned(),
        found: Some(v1::finding::Found::Number(number)),
        confidence: v1::Confidence::High.into(),
        evidence: String::new(),
    }
}

/// Fields that a refusal names.
pub(super) fn fields(refused: &Status) -> Vec<String> {
    refused
        .get_details_bad_request()
        .into_iter()
        .flat_map(|bad| bad.field_violations)
        .map(|v| v.field)
        .collect()
}
