//! A group is given things to do: what suits it, how it was met, how varied that is, and a rota.

mod met;
mod refused;
mod rota;
mod variety;

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::{day, timestamp};
use holt_proto::v1::{self, EnrichmentKind as Kind};
use holt_server::clock::Clock;
use holt_tests::house::start_of_time;
use holt_tests::{House, Park};
use tonic::Status;

/// A park with an otter in a group that lives in a pool, and an item of each kind.
pub(super) struct Den {
    pub(super) house: House,
    pub(super) park: Park,
}

pub(super) const WEIR: &str = "Weir family";

/// Items: name, kind, minutes of staff, days of rest.
pub(super) const THINGS: [(&str, Kind, i32, i32); 6] = [
    ("Herbs", Kind::Sensory, 5, 1),
    ("Bird calls", Kind::Sensory, 5, 2),
    ("Leaf pile", Kind::Structural, 15, 2),
    ("Rope tangle", Kind::Structural, 10, 1),
    ("Sliding box", Kind::Cognitive, 10, 1),
    ("Neighbour window", Kind::Social, 5, 3),
];

impl Den {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        house.enclosure(&park, "Otter pool").await;
        let den = Self { house, park };
        den.house.otter(&den.park, "Bramble").await;
        let keeper = &den.park.keeper.client;
        let group = v1::CreateGroupRequest {
            request_id: den.house.request(),
            site: "QUI".to_owned(),
            name: WEIR.to_owned(),
            note: String::new(),
        };
        keeper.groups().create_group(group).await.unwrap();
        let long_ago = Some(timestamp(start_of_time() - TimeDelta::days(300)));
        let join = v1::JoinGroupRequest {
            request_id: den.house.request(),
            site: "QUI".to_owned(),
            group: WEIR.to_owned(),
            animals: vec!["Bramble".to_owned()],
            role: v1::GroupRole::Member.into(),
            joined_at: long_ago,
        };
        keeper.groups().join_group(join).await.unwrap();
        let place = v1::PlaceAnimalsRequest {
            request_id: den.house.request(),
            site: "QUI".to_owned(),
            animals: vec!["Bramble".to_owned()],
            enclosure: "Otter pool".to_owned(),
            placed_at: long_ago,
        };
        keeper.placements().place_animals(place).await.unwrap();
        for (name, kind, staff_minutes, rest_days) in THINGS {
            den.put(v1::EnrichmentItem { staff_minutes, rest_days, ..item(name, kind) }).await.unwrap();
        }
        den
    }

    pub(super) async fn put(
        &self,
        item: v1::EnrichmentItem,
    ) -> Result<v1::SetEnrichmentItemResponse, Status> {
        let ask = v1::SetEnrichmentItemRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            item: Some(item),
            because: String::new(),
        };
        Ok(self.park.registrar.client.enrichment().set_enrichment_item(ask).await?.into_inner())
    }

    pub(super) async fn terms(&self, refused: &[&str], offers_a_day: i32) {
        let terms = v1::EnrichmentTerms {
            group: WEIR.to_owned(),
            refused_hazards: refused.iter().map(|&hazard| hazard.to_owned()).collect(),
            offers_a_day,
        };
        let ask = v1::SetEnrichmentTermsRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            terms: Some(terms),
            because: String::new(),
        };
        self.park.registrar.client.enrichment().set_enrichment_terms(ask).await.unwrap();
    }

    /// An offer to the family so many days ago.
    pub(super) fn offer(&self, item: &str, days: i64) -> v1::NewEnrichmentOffer {
        v1::NewEnrichmentOffer {
            to: Some(v1::new_enrichment_offer::To::Group(WEIR.to_owned())),
            item: item.to_owned(),
            given_at: Some(timestamp(self.now() - TimeDelta::days(days))),
            ..Default::default()
        }
    }

    pub(super) async fn give(
        &self,
        offers: Vec<v1::NewEnrichmentOffer>,
    ) -> Result<v1::RecordEnrichmentResponse, Status> {
        let (request_id, site) = (self.house.request(), "QUI".to_owned());
        let ask = v1::RecordEnrichmentRequest { request_id, site, offers };
        Ok(self.park.keeper.client.enrichment().record_enrichment(ask).await?.into_inner())
    }

    pub(super) async fn account(&self) -> v1::GetEnrichmentResponse {
        let ask = v1::GetEnrichmentRequest {
            site: "QUI".to_owned(),
            group: WEIR.to_uppercase(),
            ..Default::default()
        };
        self.park.auditor.client.enrichment().get_enrichment(ask).await.unwrap().into_inner()
    }

    /// A rota for the family from tomorrow on, to be asked for or changed first.
    pub(super) fn wish(&self, staff_minutes: i32) -> v1::PlanEnrichmentRequest {
        v1::PlanEnrichmentRequest {
            site: "QUI".to_owned(),
            groups: vec![WEIR.to_owned()],
            staff_minutes,
            ..Default::default()
        }
    }

    pub(super) async fn rota(&self, wish: v1::PlanEnrichmentRequest) -> v1::PlanEnrichmentResponse {
        self.park.auditor.client.enrichment().plan_enrichment(wish).await.unwrap().into_inner()
    }

    pub(super) fn now(&self) -> DateTime<Utc> {
        self.house.clock.now()
    }

    pub(super) fn days_ago(&self, days: i64) -> v1::Day {
        day(self.now().date_naive() - TimeDelta::days(days))
    }
}

pub(super) fn item(name: &str, kind: Kind) -> v1::EnrichmentItem {
    v1::EnrichmentItem { name: name.to_owned(), kind: kind.into(), ..Default::default() }
}

pub(super) fn standing<'a>(told: &'a v1::GetEnrichmentResponse, name: &str) -> &'a v1::EnrichmentStanding {
    told.items.iter().find(|one| one.item.as_ref().unwrap().name == name).unwrap()
}
