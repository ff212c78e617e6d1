//! The family in the Burrow House: what it is fed and offered, and what was seen of it while somebody watched.
//! All of it is invented.

use super::DemoError;
use super::load::{Loader, WEEKS, first_monday, request_id, round_at};
use super::scenario::{BEASTS, Beast, Came};
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::chance::Chance;
use holt_proto::time::{day, timestamp};
use holt_proto::v1::{
    self, animal_service_client::AnimalServiceClient, enrichment_service_client::EnrichmentServiceClient,
    feeding_service_client::FeedingServiceClient, group_service_client::GroupServiceClient,
    watch_event::What, watch_service_client::WatchServiceClient,
};

pub(super) const FAMILY: &str = "Burrow family";
/// Weeks before the last from which on Monday's feed was watched: since Fennel began to lose.
const WATCHED: i64 = 9;
/// Weeks before the last from which on feeds are on record.
const FED: i64 = 4;
/// Who stands above whom, from the top. Fennel stands below all.
const ORDER: [&str; 12] = [
    "Juniper", "Alder", "Sorrel", "Rowan", "Hazel", "Larch", "Aspen", "Teasel", "Clover", "Yarrow",
    "Bracken", "Tansy",
];
/// Time of day, food, grams, how, and whether it is kept for enrichment.
const PLAN: [(&str, &str, i64, v1::FeedMethod, bool); 3] = [
    ("06:45", "mealworm", 160, v1::FeedMethod::Scattered, false),
    ("13:00", "mealworm", 60, v1::FeedMethod::Hidden, true),
    ("16:30", "day-old chick", 1000, v1::FeedMethod::Bowl, false),
];
/// Name, what it appeals to, minutes of staff, days of rest.
const ITEMS: [(&str, v1::EnrichmentKind, i32, i32); 3] = [
    ("digging box", v1::EnrichmentKind::Structural, 15, 2),
    ("scent cloth", v1::EnrichmentKind::Sensory, 5, 1),
    ("drawer with three locks", v1::EnrichmentKind::Cognitive, 20, 3),
];

fn is_family(beast: &Beast) -> bool {
    beast.park == "QUI" && beast.species == 0
}

const fn grams(grams: i64) -> Option<v1::Mass> {
    Some(v1::Mass { milligrams: grams * 1000 })
}

impl Loader<'_> {
    /// The family as it is when the records begin.
    pub(super) async fn found_family(&mut self) -> Result<(), DemoError> {
        let wire = self.wire("tadhg").await?;
        let family = v1::CreateGroupRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            name: FAMILY.to_owned(),
            note: "one breeding pair; the others help".to_owned(),
        };
        GroupServiceClient::new(wire).create_group(family).await?;
        for beast in BEASTS.iter().filter(|beast| is_family(beast) && matches!(beast.came, Came::Before(_))) {
            let pair = ["Juniper", "Alder"].contains(&beast.name);
            self.join_family(beast, if pair { v1::GroupRole::Breeding } else { v1::GroupRole::Helper })
                .await?;
        }
        self.feed_family().await
    }

    /// A young that was born into the family belongs to it.
    pub(super) async fn born_into_family(&mut self, beast: &Beast) -> Result<(), DemoError> {
        if is_family(beast) { self.join_family(beast, v1::GroupRole::Juvenile).await } else { Ok(()) }
    }

    async fn join_family(&mut self, beast: &Beast, role: v1::GroupRole) -> Result<(), DemoError> {
        let join = v1::JoinGroupRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            group: FAMILY.to_owned(),
            animals: vec![beast.name.to_owned()],
            role: role.into(),
            joined_at: None,
        };
        GroupServiceClient::new(self.wire("tadhg").await?).join_group(join).await?;
        Ok(())
    }

    /// What they need, are given, and are offered.
    async fn feed_family(&mut self) -> Result<(), DemoError> {
        let wire = self.wire("tadhg").await?;
        let need = v1::DescribeTaxonRequest {
            request_id: request_id(),
            taxon: "Mungos mungo".to_owned(),
            traits: Some(v1::TaxonTraits {
                energy: Some(v1::EnergyNeed { rest_kcal: 70.0, low: 1.4, high: 2.0 }),
                source: "invented for this demo".to_owned(),
                ..Default::default()
            }),
        };
        AnimalServiceClient::new(self.wire("petra").await?).describe_taxon(need).await?;
        let mut feeding = FeedingServiceClient::new(wire.clone());
        for (name, kcal_per_g) in [("mealworm", 2.1), ("day-old chick", 1.5)] {
            let food = v1::SetFoodRequest {
                request_id: request_id(),
                site: "QUI".to_owned(),
                name: name.to_owned(),
                kcal_per_g,
                source: "invented for this demo".to_owned(),
                ..Default::default()
            };
            feeding.set_food(food).await?;
        }
        let feeds = PLAN.map(|(time_of_day, food, mass, method, as_enrichment)| v1::PlannedFeed {
            time_of_day: time_of_day.to_owned(),
            food: food.to_owned(),
            mass: grams(mass),
            method: method.into(),
            as_enrichment,
            ..Default::default()
        });
        let plan = v1::SetFeedPlanRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            group: FAMILY.to_owned(),
            begins_on: Some(day(first_monday())),
            feeds: feeds.to_vec(),
            ..Default::default()
        };
        feeding.set_feed_plan(plan).await?;
        let mut enrichment = EnrichmentServiceClient::new(wire);
        for (name, kind, staff_minutes, rest_days) in ITEMS {
            let item = v1::EnrichmentItem {
                name: name.to_owned(),
                kind: kind.into(),
                staff_minutes,
                rest_days,
                ..Default::default()
            };
            let item = v1::SetEnrichmentItemRequest {
                request_id: request_id(),
                site: "QUI".to_owned(),
                item: Some(item),
                ..Default::default()
            };
            enrichment.set_enrichment_item(item).await?;
        }
        Ok(())
    }

    /// Monday afternoon, with what was given since the Monday before.
    pub(super) async fn family_week(&mut self, week: i64) -> Result<(), DemoError> {
        let at = round_at(week, "QUI") + TimeDelta::hours(10);
        self.clock.set(at + TimeDelta::minutes(30));
        if week >= WEEKS - FED {
            self.fed(week).await?;
        }
        if week >= WEEKS - WATCHED {
            self.watched(week, at).await?;
        }
        Ok(())
    }

    async fn fed(&mut self, week: i64) -> Result<(), DemoError> {
        let wire = self.wire("nuala").await?;
        let mut feeds = Vec::new();
        for days_ago in (1..=7).rev() {
            for (n, (_, food, mass, method, as_enrichment)) in (0..).zip(PLAN) {
                let given_at =
                    round_at(week, "QUI") - TimeDelta::days(days_ago) + TimeDelta::minutes(45 + n * 290);
                feeds.push(v1::NewFeed {
                    to: Some(v1::new_feed::To::Group(FAMILY.to_owned())),
                    food: food.to_owned(),
                    given: grams(mass),
                    given_at: Some(timestamp(given_at)),
                    method: method.into(),
                    as_enrichment,
                    left: grams(if food == "mealworm" { 0 } else { 20 * (days_ago % 3) }),
                    ..Default::default()
                });
            }
        }
        let feeds = v1::RecordFeedsRequest { request_id: request_id(), site: "QUI".to_owned(), feeds };
        FeedingServiceClient::new(wire.clone()).record_feeds(feeds).await?;
        let mut offers = Vec::new();
        for (n, (name, ..)) in (0..).zip(ITEMS) {
            let given_at = round_at(week, "QUI") - TimeDelta::days(6 - 2 * n) + TimeDelta::hours(5);
            offers.push(v1::NewEnrichmentOffer {
                item: name.to_owned(),
                to: Some(v1::new_enrichment_offer::To::Group(FAMILY.to_owned())),
                given_at: Some(timestamp(given_at)),
                response: v1::EnrichmentResponse::Used.into(),
                used_minutes: i32::try_from(30 - 4 * (week + FED - WEEKS)).ok(),
                ..Default::default()
            });
        }
        let offers = v1::RecordEnrichmentRequest { request_id: request_id(), site: "QUI".to_owned(), offers };
        EnrichmentServiceClient::new(wire).record_enrichment(offers).await?;
        Ok(())
    }

    /// Twenty minutes from before the feed on: who yields to whom, and who eats with whom.
    async fn watched(&mut self, week: i64, at: DateTime<Utc>) -> Result<(), DemoError> {
        let mut chance = Chance::seeded(week.unsigned_abs());
        let mut seen = vec![(60, What::Feed(v1::FeedGiven {}))];
        for second in [180, 480, 780, 1080] {
            seen.push((second, What::Scan(scan(&mut chance))));
        }
        for second in [75, 140, 260, 400, 650] {
            let above = ["Juniper", "Hazel", "Sorrel"][chance.below(3)];
            let behaviour = ["displace", "displace", "chase"][chance.below(3)];
            seen.push((second, did(above, behaviour, "Fennel", true)));
        }
        for second in [110, 300, 560, 830] {
            seen.push((second, did("Fennel", "wait", "", true)));
        }
        for second in [90, 200, 230, 350, 520, 700, 900] {
            let above = chance.below(ORDER.len() - 1);
            let below = above + 1 + chance.below(ORDER.len() - 1 - above);
            seen.push((second, did(ORDER[above], "displace", ORDER[below], true)));
        }
        for second in [620, 960, 1100] {
            let (one, other) = (chance.below(6), 6 + chance.below(6));
            seen.push((second, did(ORDER[one], "groom", ORDER[other], false)));
        }
        seen.push((1200, What::End(v1::WatchEnd {})));
        seen.sort_by_key(|(second, _)| *second);
        let events = (1..).zip(seen).map(|(number, (second, what))| v1::WatchEvent {
            number,
            happened_at: Some(timestamp(at + TimeDelta::seconds(second))),
            what: Some(what),
        });
        let watch = v1::RecordWatchRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            watch_id: request_id(),
            group: FAMILY.to_owned(),
            ethogram: "small-carnivore".to_owned(),
            began_at: Some(timestamp(at)),
            events: events.collect(),
            ..Default::default()
        };
        WatchServiceClient::new(self.wire("nuala").await?).record_watch(watch).await?;
        Ok(())
    }
}

fn did(actor: &str, behaviour: &str, receiver: &str, at_food: bool) -> What {
    What::Interaction(v1::Interaction {
        actor: actor.to_owned(),
        behaviour: behaviour.to_owned(),
        receiver: receiver.to_owned(),
        at_food,
        ..Default::default()
    })
}

/// One look: nearly all eat together; Fennel waits by herself.
fn scan(chance: &mut Chance) -> v1::GroupScan {
    let mut seen = Vec::new();
    for name in ORDER {
        let behaviour = if chance.happens(0.8) { "eat" } else { "rest" };
        seen.push(v1::ScannedAnimal {
            animal: name.to_owned(),
            behaviour: behaviour.to_owned(),
            party: if behaviour == "eat" { 1 } else { 2 },
            place: String::new(),
        });
    }
    let behaviour = if chance.happens(0.2) { "eat" } else { "alone" };
    seen.push(v1::ScannedAnimal {
        animal: "Fennel".to_owned(),
        behaviour: behaviour.to_owned(),
        party: 3,
        place: String::new(),
    });
    v1::GroupScan { seen }
}
