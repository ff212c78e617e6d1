//! A group is fed: what it is to be given, what it was given, what it left, and what its members need.

mod account;
mod condition;
mod given;
mod plans;
mod refused;

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::house::start_of_time;
use holt_tests::{House, Park};
use tonic::Status;

/// A park with two otters in a group, two foods with round energies, and what otters need (invented).
pub(super) struct Kitchen {
    pub(super) house: House,
    pub(super) park: Park,
}

pub(super) const WEIR: &str = "Weir family";

pub(super) const fn grams(grams: i64) -> Option<v1::Mass> {
    Some(v1::Mass { milligrams: grams * 1000 })
}

pub(super) fn near(told: f64, by_hand: f64) -> bool {
    (told - by_hand).abs() < 0.01
}

impl Kitchen {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        let kitchen = Self { house, park };
        kitchen.member("Bramble").await;
        kitchen.member("Sedge").await;
        kitchen.food("Trout", 1.2).await.unwrap();
        kitchen.food("Sprats", 1.5).await.unwrap();
        let describe = v1::DescribeTaxonRequest {
            request_id: kitchen.house.request(),
            taxon: "Lontra canadensis".to_owned(),
            traits: Some(v1::TaxonTraits {
                energy: Some(v1::EnergyNeed { rest_kcal: 70.0, low: 1.4, high: 2.0 }),
                source: "invented for tests".to_owned(),
                ..Default::default()
            }),
        };
        kitchen.house.steward().await.client.animals().describe_taxon(describe).await.unwrap();
        kitchen
    }

    /// An otter that belongs to the Weir family from now on.
    pub(super) async fn member(&self, name: &str) {
        self.house.otter(&self.park, name).await;
        let group = v1::CreateGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            name: WEIR.to_owned(),
            note: String::new(),
        };
        // There already for all but the first.
        let _ = self.park.keeper.client.groups().create_group(group).await;
        let join = v1::JoinGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            group: WEIR.to_owned(),
            animals: vec![name.to_owned()],
            role: v1::GroupRole::Member.into(),
            joined_at: Some(timestamp(start_of_time() - TimeDelta::days(30))),
        };
        self.park.keeper.client.groups().join_group(join).await.unwrap();
    }

    pub(super) async fn weigh(&self, animal: &str, grams: i64) {
        let round = self.house.round("QUI", &[(animal, self.house.clock.now(), grams)]);
        let answer = self.park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        assert!(answer.answers[0].refusal.is_none(), "{answer:?}");
    }

    pub(super) async fn food(&self, name: &str, kcal_per_g: f64) -> Result<v1::SetFoodResponse, Status> {
        let ask = v1::SetFoodRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            name: name.to_owned(),
            kcal_per_g,
            source: "invented for tests".to_owned(),
            ..Default::default()
        };
        Ok(self.park.registrar.client.feeding().set_food(ask).await?.into_inner())
    }

    /// A plan from today on, to be sent or changed first: 480 kcal of trout and 450 kcal of sprats.
    pub(super) fn plan(&self) -> v1::SetFeedPlanRequest {
        let feed = |time: &str, food: &str, mass, method: v1::FeedMethod| v1::PlannedFeed {
            time_of_day: time.to_owned(),
            food: food.to_owned(),
            mass,
            method: method.into(),
            ..Default::default()
        };
        let sprats = v1::PlannedFeed {
            as_enrichment: true,
            ..feed("15:00", "SPRATS", grams(300), v1::FeedMethod::Hidden)
        };
        v1::SetFeedPlanRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            group: WEIR.to_owned(),
            feeds: vec![sprats, feed("06:30", "trout", grams(400), v1::FeedMethod::Bowl)],
            ..Default::default()
        }
    }

    pub(super) async fn set(&self, plan: v1::SetFeedPlanRequest) -> Result<v1::SetFeedPlanResponse, Status> {
        Ok(self.park.registrar.client.feeding().set_feed_plan(plan).await?.into_inner())
    }

    /// Trout for the family, so many hours ago.
    pub(super) fn trout(&self, hours: i64, given: Option<v1::Mass>) -> v1::NewFeed {
        v1::NewFeed {
            to: Some(v1::new_feed::To::Group(WEIR.to_owned())),
            food: "Trout".to_owned(),
            given,
            given_at: Some(timestamp(self.now() - TimeDelta::hours(hours))),
            method: v1::FeedMethod::Bowl.into(),
            ..Default::default()
        }
    }

    pub(super) fn alone(&self, animal: &str, feed: v1::NewFeed) -> v1::NewFeed {
        v1::NewFeed { to: Some(v1::new_feed::To::Animal(animal.to_owned())), ..feed }
    }

    pub(super) fn record(&self, feeds: Vec<v1::NewFeed>) -> v1::RecordFeedsRequest {
        v1::RecordFeedsRequest { request_id: self.house.request(), site: "QUI".to_owned(), feeds }
    }

    pub(super) async fn give(&self, feeds: Vec<v1::NewFeed>) -> Result<Vec<v1::Feed>, Status> {
        let ask = self.record(feeds);
        Ok(self.park.keeper.client.feeding().record_feeds(ask).await?.into_inner().feeds)
    }

    pub(super) async fn left(&self, feed: &v1::Feed, left: Option<v1::Mass>) -> Result<v1::Feed, Status> {
        let ask = v1::RecordLeftoversRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            feed_id: feed.id.clone(),
            left,
            lasted_minutes: None,
        };
        Ok(self.park.keeper.client.feeding().record_leftovers(ask).await?.into_inner().feed.unwrap())
    }

    /// How the family is fed today, as was known at an instant.
    pub(super) async fn account(&self, known: Option<DateTime<Utc>>) -> v1::GetFeedingResponse {
        self.account_of(known, None).await
    }

    pub(super) async fn account_of(
        &self,
        known: Option<DateTime<Utc>>,
        as_of: Option<v1::Day>,
    ) -> v1::GetFeedingResponse {
        let ask = v1::GetFeedingRequest {
            site: "QUI".to_owned(),
            group: WEIR.to_lowercase(),
            as_of,
            days: 0,
            as_known_at: known.map(timestamp),
        };
        self.park.auditor.client.feeding().get_feeding(ask).await.unwrap().into_inner()
    }

    pub(super) fn now(&self) -> DateTime<Utc> {
        self.house.clock.now()
    }

    pub(super) fn days_ago(&self, days: i64) -> v1::Day {
        day(self.now().date_naive() - TimeDelta::days(days))
    }
}
