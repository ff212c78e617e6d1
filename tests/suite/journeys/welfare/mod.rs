//! What assessments say together: how welfare went, whether observers agree, who was forgotten.

mod course;
mod observers;
mod unassessed;

use chrono::{DateTime, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, finding::Found};
use holt_tests::{House, Park, Person};

/// A park with the protocol of the harness and an otter, Bramble.
pub(super) struct Looks {
    pub(super) house: House,
    pub(super) park: Park,
}

impl Looks {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        house.load_protocol(&house.steward().await).await;
        house.otter(&park, "Bramble").await;
        Self { house, park }
    }

    /// Somebody looks at an otter: levels, and the temperature of its pool where it was measured.
    pub(super) async fn look(
        &self,
        who: &Person,
        animal: &str,
        at: DateTime<Utc>,
        levels: &[(&str, &str)],
        water: Option<f64>,
    ) {
        let mut look = self.house.assessment("QUI", animal, levels);
        look.assessed_at = Some(timestamp(at));
        look.findings.extend(water.map(|celsius| v1::Finding {
            indicator: "water-temperature".to_owned(),
            found: Some(Found::Number(celsius)),
            confidence: v1::Confidence::High.into(),
            evidence: String::new(),
        }));
        who.client.assessments().record_assessment(look).await.unwrap();
    }
}
