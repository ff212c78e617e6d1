//! A home is sought for an animal that must leave: what other sites show for that, to whom, and in which order.

mod by_hand;
mod found;
mod packet;
mod shown;

use crate::journeys::kin::family;
use crate::journeys::registration::Books;
use chrono::TimeDelta;
use holt_proto::v1;
use holt_tests::{Park, Person};
use tonic::Status;

/// Fern of Quill, whose brother Rush went to Brack. Heron of Brack came from the wild, Pike was born to it and Dace there
/// last week, Tench is as old as Heron and nobody knows whence; at Cove lives Loach, from the wild.
struct Homes {
    books: Books,
    brack: Park,
    cove: Park,
    rush: String,
    heron: v1::Animal,
    pike: v1::Animal,
    tench: v1::Animal,
    loach: v1::Animal,
}

impl Homes {
    async fn new() -> Self {
        let books = family().await;
        let house = &books.house;
        let brack = house.park("BRA", "America/Halifax").await;
        let cove = house.park("COV", "Europe/Dublin").await;
        house.clock.advance(TimeDelta::days(2));
        let rush = books.get("Rush").await.unwrap().id;
        crate::journeys::holder::pass(house, &rush, &books.park, &brack, v1::TransferTerms::TitlePasses)
            .await;
        let breeds = v1::UpdateTaxonRequest {
            request_id: house.request(),
            taxon: "Lontra canadensis".to_owned(),
            breeds_from_days: Some(300),
            because: "handbook".to_owned(),
            ..Default::default()
        };
        house.steward().await.client.send(breeds).await.unwrap();
        let wild = async |park: &Park, name: &str, sex: v1::Sex, source: v1::ArrivalSource| {
            let arrival = v1::RegisterArrivalRequest {
                sex: sex.into(),
                source: source.into(),
                born_on: Some("2022".parse().unwrap()),
                ..house.arrival(park, name, "2024-04-01".parse().unwrap())
            };
            park.registrar.client.send(arrival).await.unwrap().animal.unwrap()
        };
        let heron = wild(&brack, "Heron", v1::Sex::Male, v1::ArrivalSource::Wild).await;
        let mate = wild(&brack, "Bream", v1::Sex::Female, v1::ArrivalSource::Wild).await;
        let tench = wild(&brack, "Tench", v1::Sex::Male, v1::ArrivalSource::Collection).await;
        let loach = wild(&cove, "Loach", v1::Sex::Male, v1::ArrivalSource::Wild).await;
        let born = async |name: &str, on: &str| {
            let birth = v1::RegisterBirthRequest {
                site: "BRA".to_owned(),
                born_on: Some(on.parse().unwrap()),
                sex: v1::Sex::Male.into(),
                sire: heron.id.clone(),
                dam: mate.id.clone(),
                marks: vec![v1::NewMark {
                    kind: v1::MarkKind::HouseName.into(),
                    code: name.to_owned(),
                    place_on_body: String::new(),
                }],
                ..books.birth()
            };
            brack.registrar.client.send(birth).await.unwrap().animal.unwrap()
        };
        let pike = born("Pike", "2024-09-01").await;
        born("Dace", "2026-02-20").await;
        house.clock.advance(TimeDelta::hours(1));
        Self { books, brack, cove, rush, heron, pike, tench, loach }
    }

    /// Says whether a park shows cards.
    async fn shows(&self, park: &Park, shows_cards: bool) {
        let set = v1::SetPartnerTermsRequest {
            request_id: self.books.house.request(),
            site: park.code.clone(),
            shows_cards,
            note: "room for one".to_owned(),
            validate_only: false,
        };
        park.registrar.client.send(set).await.unwrap();
        self.books.house.clock.advance(TimeDelta::seconds(1));
    }

    /// A search for Fern, to be sent or changed first.
    fn ask(&self) -> v1::FindPartnersRequest {
        v1::FindPartnersRequest {
            request_id: self.books.house.request(),
            site: "QUI".to_owned(),
            animals: vec!["Fern".to_owned()],
            ..Default::default()
        }
    }

    async fn send(&self, ask: v1::FindPartnersRequest) -> Result<v1::FindPartnersResponse, Status> {
        self.books.park.registrar.client.send(ask).await
    }

    /// Who is told, best first.
    async fn partners(&self, ask: v1::FindPartnersRequest) -> Vec<String> {
        self.send(ask).await.unwrap().partners.into_iter().map(|card| card.animal_id).collect()
    }
}

async fn searches(who: &Person, site: &str) -> Result<Vec<v1::PartnerSearch>, Status> {
    let ask = v1::ListPartnerSearchesRequest { site: site.to_owned(), page: None };
    Ok(who.client.send(ask).await?.searches)
}
