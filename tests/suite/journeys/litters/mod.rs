//! A litter is born, counted, loses young, is sexed, and is told apart into animals.

mod corrected;
mod counts;
mod crates;
mod crowd;
mod past;
mod sires;
mod told_apart;

use crate::journeys::registration::Books;
use holt_proto::v1;
use holt_proto::v1::record_litter_event_request::Event;
use tonic::Status;

/// The registrar's books, with a pair of otters on them.
pub(super) async fn pair() -> Books {
    let books = Books::new().await;
    let otter = |name: &str, sex: v1::Sex| v1::RegisterArrivalRequest {
        sex: sex.into(),
        ..books.arrival(name, "2025-03-01")
    };
    for (name, sex) in [("Bramble", v1::Sex::Female), ("Alder", v1::Sex::Male)] {
        books.arrived(otter(name, sex)).await.unwrap();
    }
    books
}

pub(super) fn young(text: &str) -> Option<v1::Counts> {
    Some(holt_proto::notation::counts::parse(text).unwrap())
}

impl Books {
    /// Four young of Bramble, a fortnight ago, to be sent or changed first.
    pub(super) fn litter(&self) -> v1::RecordLitterRequest {
        v1::RecordLitterRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            born_on: Some("2026-02-16".parse().unwrap()),
            young: young("0.0.4"),
            dam: "Bramble".to_owned(),
            sires: vec![v1::NewSire { animal: "Alder".to_owned(), share: 0.0 }],
            ..Default::default()
        }
    }

    pub(super) async fn littered(&self, litter: v1::RecordLitterRequest) -> Result<v1::Litter, Status> {
        let recorded = self.park.registrar.client.litters().record_litter(litter).await?;
        Ok(recorded.into_inner().litter.unwrap())
    }

    /// Something that happened in a litter on a day, to be sent or changed first.
    pub(super) fn event(&self, litter: &v1::Litter, on: &str, event: Event) -> v1::RecordLitterEventRequest {
        v1::RecordLitterEventRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            litter_id: litter.id.clone(),
            happened_on: Some(on.parse().unwrap()),
            event: Some(event),
            ..Default::default()
        }
    }

    pub(super) async fn happened(&self, event: v1::RecordLitterEventRequest) -> Result<v1::Litter, Status> {
        let recorded = self.park.registrar.client.litters().record_litter_event(event).await?;
        Ok(recorded.into_inner().litter.unwrap())
    }

    pub(super) async fn young_died(
        &self,
        litter: &v1::Litter,
        on: &str,
        of: &str,
    ) -> Result<v1::Litter, Status> {
        let died = v1::LitterDeaths { young: young(of), manner: v1::DeathManner::Natural.into() };
        self.happened(self.event(litter, on, Event::Died(died))).await
    }

    pub(super) async fn young_sexed(
        &self,
        litter: &v1::Litter,
        on: &str,
        males: i64,
        females: i64,
    ) -> Result<v1::Litter, Status> {
        self.happened(self.event(litter, on, Event::Sexed(v1::LitterSexing { males, females }))).await
    }

    /// A young told apart on a day, to be sent or changed first.
    pub(super) fn apart(&self, litter: &v1::Litter, on: &str, sex: v1::Sex) -> v1::TellApartRequest {
        v1::TellApartRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            litter_id: litter.id.clone(),
            told_apart_on: Some(on.parse().unwrap()),
            sex: sex.into(),
            ..Default::default()
        }
    }

    pub(super) async fn told_apart(
        &self,
        apart: v1::TellApartRequest,
    ) -> Result<(v1::Animal, v1::Litter), Status> {
        let told = self.park.registrar.client.litters().tell_apart(apart).await?.into_inner();
        Ok((told.animal.unwrap(), told.litter.unwrap()))
    }

    /// The litter as of a day, today where none is given, as was known at an instant.
    pub(super) async fn litter_as_of(
        &self,
        id: &str,
        as_of: Option<&str>,
        as_known_at: Option<prost_types::Timestamp>,
    ) -> Result<v1::Litter, Status> {
        let get = v1::GetLitterRequest {
            site: "QUI".to_owned(),
            litter_id: id.to_owned(),
            as_of: as_of.map(|day| day.parse().unwrap()),
            as_known_at,
        };
        Ok(self.park.auditor.client.litters().get_litter(get).await?.into_inner().litter.unwrap())
    }
}

pub(super) fn left(litter: &v1::Litter) -> String {
    litter.remaining.unwrap().to_string()
}
