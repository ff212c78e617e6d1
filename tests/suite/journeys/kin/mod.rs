//! Kin of an animal, and how closely animals are related.

mod across;
mod by_hand;
mod figures;

use crate::journeys::registration::Books;
use holt_proto::v1;
use holt_tests::Person;
use tonic::Status;

/// The registrar's books, with two of the wild and their two young: Fern, a female, and Rush, a male.
pub(super) async fn family() -> Books {
    let books = Books::new().await;
    for (name, sex) in [("Bramble", v1::Sex::Female), ("Alder", v1::Sex::Male)] {
        let arrival = v1::RegisterArrivalRequest {
            sex: sex.into(),
            source: v1::ArrivalSource::Wild.into(),
            ..books.arrival(name, "2024-03-01")
        };
        books.arrived(arrival).await.unwrap();
    }
    for (name, sex) in [("Fern", v1::Sex::Female), ("Rush", v1::Sex::Male)] {
        books.young(name, sex, "Bramble", "Alder", "2024-05-01").await;
    }
    books
}

impl Books {
    pub(super) async fn young(
        &self,
        name: &str,
        sex: v1::Sex,
        dam: &str,
        sire: &str,
        on: &str,
    ) -> v1::Animal {
        let birth = v1::RegisterBirthRequest {
            born_on: Some(on.parse().unwrap()),
            sex: sex.into(),
            dam: dam.to_owned(),
            sire: sire.to_owned(),
            marks: vec![v1::NewMark {
                kind: v1::MarkKind::HouseName.into(),
                code: name.to_owned(),
                place_on_body: String::new(),
            }],
            ..self.birth()
        };
        self.born(birth).await.unwrap()
    }
}

async fn kin_of(who: &Person, site: &str, animal: &str) -> Result<v1::GetKinResponse, Status> {
    let get = v1::GetKinRequest { site: site.to_owned(), animal: animal.to_owned(), ..Default::default() };
    Ok(who.client.kinship().get_kin(get).await?.into_inner())
}

async fn compared(who: &Person, site: &str, animals: &[&str]) -> Result<v1::CompareKinshipResponse, Status> {
    let animals = animals.iter().map(|&animal| animal.to_owned()).collect();
    let compare = v1::CompareKinshipRequest { site: site.to_owned(), animals, ..Default::default() };
    Ok(who.client.kinship().compare_kinship(compare).await?.into_inner())
}

/// Name, what it is, and its kinship in 10,000ths: lowest, value, highest.
fn spoken(answer: &v1::GetKinResponse) -> Vec<(String, v1::Kin, [i64; 3])> {
    answer
        .relatives
        .iter()
        .map(|one| (one.animal.clone().unwrap().house_name, one.kin(), figures(one.kinship)))
        .collect()
}

#[expect(clippy::cast_possible_truncation, reason = "a figure is between 0 and 1")]
fn figures(figure: Option<v1::KinshipFigure>) -> [i64; 3] {
    let figure = figure.unwrap();
    [figure.lowest, figure.value, figure.highest].map(|value| (value * 10_000.0).round() as i64)
}
