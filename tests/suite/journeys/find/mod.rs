//! Somebody has a number or a part of a name in hand, and asks whose it is and where it lives.

mod parts;
mod sight;
mod whole;

use holt_proto::v1;
use holt_tests::{House, Park, Person};
use tonic::Status;

/// A park with otters that go by many things.
pub(super) struct Shelf {
    pub(super) house: House,
    pub(super) park: Park,
}

impl Shelf {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        house.enclosure(&park, "Weir").await;
        Self { house, park }
    }

    /// An otter that goes by a name and these marks.
    pub(super) async fn otter(&self, name: &str, marks: &[(v1::MarkKind, &str)]) -> v1::Animal {
        let otter = self.house.otter(&self.park, name).await;
        for &(kind, code) in marks {
            let mark = v1::ApplyMarkRequest {
                request_id: self.house.request(),
                site: "QUI".to_owned(),
                animal: otter.id.clone(),
                mark: Some(new(kind, code)),
                applied_at: None,
            };
            self.park.registrar.client.marks().apply_mark(mark).await.unwrap();
        }
        otter
    }

    pub(super) async fn found(&self, text: &str) -> Vec<v1::Match> {
        found(&self.park.keeper, text).await.unwrap()
    }

    /// House names of what is found, in the order told.
    pub(super) async fn names(&self, text: &str) -> Vec<String> {
        names(self.found(text).await)
    }
}

pub(super) fn new(kind: v1::MarkKind, code: &str) -> v1::NewMark {
    v1::NewMark { kind: kind.into(), code: code.to_owned(), place_on_body: String::new() }
}

pub(super) async fn found(who: &Person, text: &str) -> Result<Vec<v1::Match>, Status> {
    let ask = v1::FindAnimalsRequest { text: text.to_owned(), most: 0 };
    Ok(who.client.find().find_animals(ask).await?.into_inner().matches)
}

pub(super) fn names(matches: Vec<v1::Match>) -> Vec<String> {
    matches.into_iter().map(|one| one.animal.unwrap().house_name).collect()
}
