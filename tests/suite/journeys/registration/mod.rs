//! A registrar keeps the books: animals come, are marked, placed and sexed, and leave.

mod arrivals;
mod births;
mod crowd;
mod deaths;
mod departures;
mod enclosures;
mod marks;
mod numbers;
mod papers;
mod parents;
mod sexes;
mod taxa;
mod transponders;
mod versions;

use holt_proto::v1;
use holt_tests::{House, Park, Person};
use tonic::Status;
use tonic_types::StatusExt;

/// A park that has no animals yet.
pub(super) struct Books {
    pub(super) house: House,
    pub(super) park: Park,
}

impl Books {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        Self { house, park }
    }

    /// A birth at Quill today, to be sent or changed first.
    pub(super) fn birth(&self) -> v1::RegisterBirthRequest {
        v1::RegisterBirthRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            taxon: "Lontra canadensis".to_owned(),
            born_on: Some("2026-03-02".parse().unwrap()),
            sex: v1::Sex::Unknown.into(),
            ..Default::default()
        }
    }

    pub(super) async fn born(&self, birth: v1::RegisterBirthRequest) -> Result<v1::Animal, Status> {
        let born = self.park.registrar.client.animals().register_birth(birth).await?;
        Ok(born.into_inner().animal.unwrap())
    }

    /// The arrival of an otter at Quill on a day, to be sent or changed first.
    pub(super) fn arrival(&self, name: &str, on: &str) -> v1::RegisterArrivalRequest {
        self.house.arrival(&self.park, name, on.parse().unwrap())
    }

    pub(super) async fn arrived(&self, arrival: v1::RegisterArrivalRequest) -> Result<v1::Animal, Status> {
        let arrived = self.park.registrar.client.animals().register_arrival(arrival).await?;
        Ok(arrived.into_inner().animal.unwrap())
    }

    pub(super) async fn get(&self, animal: &str) -> Result<v1::Animal, Status> {
        self.get_as(&self.park.auditor, "QUI", animal).await
    }

    pub(super) async fn get_as(&self, who: &Person, site: &str, animal: &str) -> Result<v1::Animal, Status> {
        let get =
            v1::GetAnimalRequest { site: site.to_owned(), animal: animal.to_owned(), ..Default::default() };
        Ok(who.client.animals().get_animal(get).await?.into_inner().animal.unwrap())
    }

    /// Accessions of the animals that Quill held at the close of a day, today where none is given.
    pub(super) async fn held(&self, as_of: Option<&str>) -> Vec<String> {
        let list = v1::ListAnimalsRequest {
            site: "QUI".to_owned(),
            as_of: as_of.map(|day| day.parse().unwrap()),
            ..Default::default()
        };
        let list = self.park.auditor.client.animals().list_animals(list).await.unwrap().into_inner();
        list.animals.into_iter().map(|animal| animal.accession).collect()
    }

    /// The death of an animal on a day, to be sent or changed first.
    pub(super) fn death(&self, animal: &str, on: &str) -> v1::RecordDeathRequest {
        v1::RecordDeathRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            died_on: Some(on.parse().unwrap()),
            manner: v1::DeathManner::Natural.into(),
            note: "found in the den in the morning".to_owned(),
            ..Default::default()
        }
    }

    pub(super) async fn died(&self, death: v1::RecordDeathRequest) -> Result<v1::Animal, Status> {
        let died = self.park.registrar.client.animals().record_death(death).await?;
        Ok(died.into_inner().animal.unwrap())
    }

    /// The departure of an animal on a day, to be sent or changed first.
    pub(super) fn departure(&self, animal: &str, on: &str) -> v1::RecordDepartureRequest {
        v1::RecordDepartureRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            departed_on: Some(on.parse().unwrap()),
            destination: v1::DepartureDestination::Collection.into(),
            destination_name: "Fenwater Collection".to_owned(),
            ..Default::default()
        }
    }

    pub(super) async fn departed(&self, departure: v1::RecordDepartureRequest) -> Result<v1::Animal, Status> {
        let departed = self.park.registrar.client.animals().record_departure(departure).await?;
        Ok(departed.into_inner().animal.unwrap())
    }

    /// A mark on an animal, now, to be sent or changed first.
    pub(super) fn mark(&self, animal: &str, kind: v1::MarkKind, code: &str) -> v1::ApplyMarkRequest {
        v1::ApplyMarkRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            mark: Some(v1::NewMark {
                kind: kind.into(),
                code: code.to_owned(),
                place_on_body: String::new(),
            }),
            applied_at: None,
        }
    }

    pub(super) async fn marked(&self, mark: v1::ApplyMarkRequest) -> Result<v1::Mark, Status> {
        let marked = self.park.registrar.client.marks().apply_mark(mark).await?;
        Ok(marked.into_inner().mark.unwrap())
    }

    pub(super) async fn propose(&self, animal: &str, to: &str) -> v1::Transfer {
        let propose = v1::ProposeTransferRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            to_site: to.to_owned(),
            terms: v1::TransferTerms::TitlePasses.into(),
            why: "company".to_owned(),
            ..Default::default()
        };
        let proposed = self.park.registrar.client.transfers().propose_transfer(propose).await.unwrap();
        proposed.into_inner().transfer.unwrap()
    }
}

/// Fields that a refusal names.
pub(super) fn fields(refused: &Status) -> Vec<String> {
    let violations = refused.get_details_bad_request().map(|bad| bad.field_violations);
    violations.into_iter().flatten().map(|violation| violation.field).collect()
}
