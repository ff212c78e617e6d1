//! Where histories play: three sites each, in zones whose days differ, with their people. They are set up once, in
//! a database that is copied for each batch of histories, so that a history costs what happens in it.

use chrono::{DateTime, NaiveDate, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use holt_proto::time::day;
use holt_proto::v1;
use holt_server::model::person::{Grant, Role};
use holt_tests::house::Client;
use holt_tests::{House, Park, Person, cluster};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

pub(super) const ZONES: [Tz; 3] = [Tz::Europe__Dublin, Tz::Pacific__Honolulu, Tz::Pacific__Auckland];
pub(super) const SPECIES: [&str; 2] = ["Lontra canadensis", "Lutra lutra"];
pub(super) const ENCLOSURES: [&str; 2] = ["Weir", "Holt bank"];
pub(super) const GROUPS: [&str; 2] = ["Weir family", "Bank family"];

/// Days between the beginnings of two histories on one database: longer than any lasts.
const DAYS_APART: i64 = 60;

/// Somebody of the cast: roles and where, as numbers of the sites of their stage.
#[derive(Clone, Debug)]
pub(super) struct Part {
    pub(super) name: String,
    pub(super) id: Uuid,
    pub(super) roles: Vec<(Role, usize)>,
}

/// Three sites with their people.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub(super) codes: [String; 3],
    pub(super) parts: Vec<Part>,
}

/// A database with stages that nobody has played on.
pub(super) struct Theatre {
    url: String,
    last: Uuid,
    plans: BTreeMap<usize, Plan>,
}

fn code(stage: usize, site: usize) -> String {
    let letter = |n: usize| char::from(b'A' + u8::try_from(n % 26).unwrap());
    [letter(stage / 26), letter(stage), letter(site)].iter().collect()
}

/// Who there is at three sites: one of each role at each, people who are two at once, and a
/// guest to whom roles are given.
fn cast(stage: usize) -> Vec<(String, Vec<(Role, usize)>)> {
    use Role::{Auditor, Keeper, Registrar, Steward, Veterinary};
    let mut cast = Vec::new();
    for site in 0..3 {
        for (what, role) in [
            ("keeper", Keeper),
            ("registrar", Registrar),
            ("vet", Veterinary),
            ("auditor", Auditor),
            ("steward", Steward),
        ] {
            cast.push((format!("{}-the-{what}", code(stage, site)), vec![(role, site)]));
        }
    }
    let two = |what: &str, roles: &[(Role, usize)]| (format!("{}-{what}", code(stage, 0)), roles.to_vec());
    cast.push(two("people-here-animals-there", &[(Steward, 0), (Keeper, 1)]));
    cast.push(two("animals-here-people-there", &[(Keeper, 2), (Steward, 1)]));
    cast.push(two("registrar-of-two", &[(Registrar, 0), (Registrar, 1)]));
    cast.push(two("guest", &[]));
    cast.push(two("auditor-of-all", &[(Auditor, 0), (Auditor, 1), (Auditor, 2)]));
    for (name, _) in &mut cast {
        *name = name.to_lowercase();
    }
    cast
}

impl Theatre {
    /// A database with these stages.
    pub(super) async fn built(stages: BTreeSet<usize>) -> Self {
        let url = cluster::database().await;
        let house = House::over(url.clone(), |_| ()).await;
        house.clock.set(Utc.with_ymd_and_hms(2025, 9, 1, 9, 0, 0).unwrap());
        let steward = house.steward().await;
        let mut plans = BTreeMap::new();
        for stage in stages {
            let plan = build(&house, &steward, stage, plans.is_empty()).await;
            plans.insert(stage, plan);
        }
        let last = house.records.store.new_id();
        house.stop().await;
        Self { url, last, plans }
    }

    /// A house over a copy, in which each stage can be played on once.
    pub(super) async fn open(&self) -> House {
        House::after(cluster::copy_of(&self.url).await, self.last, |config| {
            // On a busy machine nobody is to be told that it took too long: then nobody knew what was written.
            config.store.max_connections = 10;
            config.store.acquire_seconds = 60;
            config.server.call_seconds = 120;
        })
        .await
    }

    /// A stage of a house that was opened, with its clock at the beginning.
    pub(super) fn stage(&self, house: &Arc<House>, number: usize) -> Stage {
        let began = Utc.with_ymd_and_hms(2026, 1, 5, 6, 0, 0).unwrap()
            + TimeDelta::days(DAYS_APART * i64::try_from(number).unwrap());
        house.clock.set(began);
        let plan = self.plans[&number].clone();
        let actors = plan.parts.iter().map(|part| {
            let grant = |&(role, site): &(Role, usize)| Grant { role, site: Some(plan.codes[site].clone()) };
            let grants: Vec<Grant> = part.roles.iter().map(grant).collect();
            let client = house.with_token(&house.token(part.id, &grants));
            Arc::new(Actor { part: part.clone(), client })
        });
        Stage { actors: actors.collect(), house: Arc::clone(house), codes: plan.codes, began }
    }
}

async fn build(house: &House, steward: &Person, stage: usize, first: bool) -> Plan {
    let codes = [0, 1, 2].map(|site| code(stage, site));
    for (site, zone) in codes.iter().zip(ZONES) {
        let site = v1::CreateSiteRequest {
            request_id: house.request(),
            code: site.clone(),
            name: format!("{site} Park"),
            time_zone: zone.name().to_owned(),
            ..Default::default()
        };
        steward.client.sites().create_site(site).await.unwrap();
    }
    let mut parts = Vec::new();
    let mut people = Vec::new();
    for (name, roles) in cast(stage) {
        let held: Vec<(Role, Option<&str>)> =
            roles.iter().map(|&(role, site)| (role, Some(codes[site].as_str()))).collect();
        let person = house.person(&name, &held).await;
        parts.push(Part { name, id: person.id, roles });
        people.push(person);
    }
    for (site, code) in codes.iter().enumerate() {
        let [keeper, registrar, vet, auditor] = [0, 1, 2, 3].map(|n| people[site * 5 + n].clone());
        let park = Park { code: code.clone(), keeper, registrar, auditor, vet };
        furnish(house, steward, &park, first && site == 0).await;
    }
    Plan { codes, parts }
}

/// Puts on record what a park has before its first animal; once, also what all parks share.
async fn furnish(house: &House, steward: &Person, park: &Park, first: bool) {
    if first {
        for species in SPECIES {
            house.taxon(park, species, "otter").await;
        }
        house.load_protocol(steward).await;
    }
    for name in ENCLOSURES {
        house.enclosure(park, name).await;
    }
    for name in GROUPS {
        let group = v1::CreateGroupRequest {
            request_id: house.request(),
            site: park.code.clone(),
            name: name.to_owned(),
            ..Default::default()
        };
        park.registrar.client.groups().create_group(group).await.unwrap();
    }
    for (duty, recurrence) in [(v1::Duty::Weigh, "FREQ=WEEKLY"), (v1::Duty::Assess, "FREQ=MONTHLY")] {
        let check = v1::CreateCheckRequest {
            request_id: house.request(),
            site: park.code.clone(),
            duty: duty.into(),
            scope: Some(v1::CheckScope { of: Some(v1::check_scope::Of::WholeSite(true)) }),
            recurrence: recurrence.to_owned(),
            starts_on: Some(day("2025-12-01".parse::<NaiveDate>().unwrap())),
            ..Default::default()
        };
        park.registrar.client.checks().create_check(check).await.unwrap();
    }
}

/// Somebody, with the services as they see them.
#[derive(Clone)]
pub(super) struct Actor {
    pub(super) part: Part,
    pub(super) client: Client,
}

impl Actor {
    /// Whether they have one of these roles at a site.
    pub(super) fn has(&self, roles: &[Role], site: usize) -> bool {
        self.part.roles.iter().any(|(role, at)| *at == site && roles.contains(role))
    }

    /// The sites at which they have one of these roles.
    pub(super) fn sites(&self, roles: &[Role]) -> Vec<usize> {
        (0..3).filter(|site| self.has(roles, *site)).collect()
    }
}

/// Three sites that one history plays at.
pub(super) struct Stage {
    pub(super) house: Arc<House>,
    pub(super) codes: [String; 3],
    pub(super) actors: Vec<Arc<Actor>>,
    pub(super) began: DateTime<Utc>,
}

impl Stage {
    /// Who reads everything of all three sites.
    pub(super) fn auditor_of_all(&self) -> &Arc<Actor> {
        self.actors.last().unwrap()
    }

    /// Who has no role, and is given some.
    pub(super) fn guest(&self) -> &Arc<Actor> {
        &self.actors[self.actors.len() - 2]
    }

    /// The registrar of one site alone.
    pub(super) fn plain_registrar(&self, site: usize) -> Arc<Actor> {
        Arc::clone(&self.actors[site * 5 + 1])
    }

    /// The auditor of one site alone.
    pub(super) fn auditor(&self, site: usize) -> &Arc<Actor> {
        &self.actors[site * 5 + 3]
    }
}
