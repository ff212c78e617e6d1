//! A group is watched: who does what to whom, how its members stand, and who is being pushed out.

mod ethograms;
mod followed;
mod home;
mod known;
mod raised;
mod refused;
mod standing;
mod typed;
mod upsets;
mod watching;
mod weighed;

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use holt_tests::house::start_of_time;
use holt_tests::{House, Park, Person};
use tonic::Status;
use uuid::Uuid;

/// The members of the family: two that breed, and four grown young of theirs.
pub(super) const NAMES: [&str; 6] = ["Bramble", "Alder", "Sedge", "Teasel", "Rush", "Willow"];

/// A park with a family of otters that live as one group, and an ethogram to watch them by.
pub(super) struct Weir {
    pub(super) house: House,
    pub(super) park: Park,
    pub(super) steward: Person,
}

impl Weir {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let (park, steward) = (house.quill().await, house.steward().await);
        for (n, name) in NAMES.iter().enumerate() {
            let sex = if n % 2 == 0 { v1::Sex::Female } else { v1::Sex::Male };
            let arrival = v1::RegisterArrivalRequest {
                sex: sex.into(),
                ..house.arrival(&park, name, "2025-03-01".parse().unwrap())
            };
            park.registrar.client.animals().register_arrival(arrival).await.unwrap();
        }
        let weir = Self { house, park, steward };
        weir.group("Weir family").await;
        weir.join("Weir family", &NAMES[..2], v1::GroupRole::Breeding).await;
        weir.join("Weir family", &NAMES[2..], v1::GroupRole::Helper).await;
        weir.house.load_ethogram(&weir.steward).await;
        weir
    }

    pub(super) async fn group(&self, name: &str) {
        let create = v1::CreateGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            name: name.to_owned(),
            note: String::new(),
        };
        self.park.keeper.client.groups().create_group(create).await.unwrap();
    }

    /// They belong to it since a year ago.
    pub(super) async fn join(&self, group: &str, animals: &[&str], role: v1::GroupRole) {
        let join = v1::JoinGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            group: group.to_owned(),
            animals: animals.iter().map(|&animal| animal.to_owned()).collect(),
            role: role.into(),
            joined_at: Some(timestamp("2025-03-02T00:00:00Z".parse().unwrap())),
        };
        self.park.keeper.client.groups().join_group(join).await.unwrap();
    }

    /// A watch of half an hour that began then, with what was seen minute by minute, to be sent or changed
    /// first.
    pub(super) fn watch(&self, began: DateTime<Utc>, seen: Vec<(i64, What)>) -> v1::RecordWatchRequest {
        let end = (30, What::End(v1::WatchEnd {}));
        let events =
            (1..).zip(seen.into_iter().chain([end])).map(|(number, (minute, what))| v1::WatchEvent {
                number,
                happened_at: Some(timestamp(began + TimeDelta::minutes(minute))),
                what: Some(what),
            });
        v1::RecordWatchRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            watch_id: Uuid::from_u128(u128::from(began.timestamp().unsigned_abs())).to_string(),
            group: "weir FAMILY".to_owned(),
            ethogram: "small-carnivore".to_owned(),
            began_at: Some(timestamp(began)),
            events: events.collect(),
            ..Default::default()
        }
    }

    pub(super) async fn record(
        &self,
        ask: v1::RecordWatchRequest,
    ) -> Result<v1::RecordWatchResponse, Status> {
        Ok(self.park.keeper.client.watches().record_watch(ask).await?.into_inner())
    }

    /// Newest first.
    pub(super) async fn watches(&self, ask: v1::ListWatchesRequest) -> Vec<v1::Watch> {
        let ask = v1::ListWatchesRequest { site: "QUI".to_owned(), ..ask };
        self.park.auditor.client.watches().list_watches(ask).await.unwrap().into_inner().watches
    }

    pub(super) async fn standing(&self) -> v1::GetStandingResponse {
        let ask = v1::GetStandingRequest {
            site: "QUI".to_owned(),
            group: "Weir family".to_owned(),
            ..Default::default()
        };
        self.park.auditor.client.standing().get_standing(ask).await.unwrap().into_inner()
    }
}

/// Yesterday at eight, when the otters are fed.
pub(super) fn feeding_time() -> DateTime<Utc> {
    start_of_time() - TimeDelta::hours(22)
}

pub(super) fn did(actor: &str, behaviour: &str, receiver: &str) -> What {
    What::Interaction(v1::Interaction {
        actor: actor.to_owned(),
        behaviour: behaviour.to_owned(),
        receiver: receiver.to_owned(),
        ..Default::default()
    })
}

pub(super) fn over_food(actor: &str, behaviour: &str, receiver: &str) -> What {
    match did(actor, behaviour, receiver) {
        What::Interaction(one) => What::Interaction(v1::Interaction { at_food: true, ..one }),
        other => other,
    }
}

pub(super) fn sight(animal: &str, out: bool) -> What {
    What::Sight(v1::SightChange { animal: animal.to_owned(), out })
}

pub(super) const fn food() -> What {
    What::Feed(v1::FeedGiven {})
}

/// Animal, behaviour, party.
pub(super) fn scan(seen: &[(&str, &str, i32)]) -> What {
    let seen = seen.iter().map(|&(animal, behaviour, party)| v1::ScannedAnimal {
        animal: animal.to_owned(),
        behaviour: behaviour.to_owned(),
        party,
        place: String::new(),
    });
    What::Scan(v1::GroupScan { seen: seen.collect() })
}

/// The member of a name.
pub(super) fn of<'a>(standing: &'a v1::GetStandingResponse, name: &str) -> &'a v1::MemberStanding {
    let named = |member: &&v1::MemberStanding| member.animal.as_ref().unwrap().house_name == name;
    standing.members.iter().find(named).unwrap()
}
