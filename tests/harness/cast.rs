//! A cast of invented parks, people and animals.

use crate::house::{Client, House};
use chrono::NaiveDate;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::access::permit::Caller;
use holt_server::model::person::{Grant, Role};
use holt_server::model::request::Request;
use holt_server::records::people;
use sqlx::{AssertSqlSafe, PgConnection};
use std::pin::Pin;
use std::time::Duration;
use uuid::Uuid;

/// A small protocol for otters: one indicator in each domain that is observed.
pub const PROTOCOL: &str = include_str!("otter_watch.toml");

/// An invented reference curve for cubs of otters: 150 g at birth, 6 kg at 200 days.
pub const REFERENCE: &str = include_str!("otter_cubs.toml");

/// The ethogram that comes with Holt.
pub const ETHOGRAM: &str = include_str!("../../server/ethograms/small-carnivore.toml");

/// A standard that comes with Holt.
pub const STANDARD: &str = include_str!("../../server/standards/gb-zoo-licensing-act.toml");

/// Somebody, with the services as they see them.
#[derive(Clone)]
pub struct Person {
    /// Their identifier.
    pub id: Uuid,
    /// The services as they see them.
    pub client: Client,
}

/// A park with its people.
pub struct Park {
    /// Three letters.
    pub code: String,
    /// Its keeper.
    pub keeper: Person,
    /// Its registrar.
    pub registrar: Person,
    /// Its auditor.
    pub auditor: Person,
    /// Its veterinary surgeon.
    pub vet: Person,
}

impl House {
    /// Somebody with these roles; `None` is every site.
    pub async fn person(&self, name: &str, roles: &[(Role, Option<&str>)]) -> Person {
        let grants: Vec<Grant> =
            roles.iter().map(|&(role, site)| Grant { role, site: site.map(str::to_owned) }).collect();
        let id = self.records.store.new_id();
        let request = Request { id, method: "test", digest: [0; 32], validate_only: false };
        let (person, _) =
            people::create(&self.records, &Caller::itself(), &request, name, name, &grants).await.unwrap();
        let token = self.token(person.id, &grants);
        Person { id: person.id, client: self.with_token(&token) }
    }

    /// The steward of everything, who is the curator of what all share, too.
    pub async fn steward(&self) -> Person {
        let name = format!("steward-{}", &self.request()[24..]);
        self.person(&name, &[(Role::Steward, None), (Role::Curator, None)]).await
    }

    /// A park in a time zone, with its people.
    pub async fn park(&self, code: &str, zone: &str) -> Park {
        self.park_in(code, zone, "").await
    }

    /// The same in a country: two letters, or none.
    pub async fn park_in(&self, code: &str, zone: &str, country: &str) -> Park {
        let steward = self.steward().await;
        let site = v1::CreateSiteRequest {
            request_id: self.request(),
            code: code.to_owned(),
            name: format!("{code} Park"),
            time_zone: zone.to_owned(),
            licence: format!("{code}-LIC-1"),
            latitude: None,
            longitude: None,
            country: country.to_owned(),
        };
        steward.client.sites().create_site(site).await.unwrap();
        let lower = code.to_lowercase();
        let one = async |what: &str, role: Role| {
            self.person(&format!("{lower}-{what}"), &[(role, Some(code))]).await
        };
        Park {
            code: code.to_owned(),
            keeper: one("keeper", Role::Keeper).await,
            registrar: one("registrar", Role::Registrar).await,
            auditor: one("auditor", Role::Auditor).await,
            vet: one("vet", Role::Veterinary).await,
        }
    }

    /// A park called Quill, with otters as a species on record.
    pub async fn quill(&self) -> Park {
        let park = self.park("QUI", "Europe/Dublin").await;
        self.taxon(&park, "Lontra canadensis", "North American river otter").await;
        park
    }

    /// Puts a species on record.
    pub async fn taxon(&self, park: &Park, scientific_name: &str, common_name: &str) {
        let taxon = v1::CreateTaxonRequest {
            request_id: self.request(),
            scientific_name: scientific_name.to_owned(),
            common_name: common_name.to_owned(),
            ..Default::default()
        };
        park.registrar.client.animals().create_taxon(taxon).await.unwrap();
    }

    /// An otter of a house name that came to a park from a collection outside a year ago.
    pub async fn otter(&self, park: &Park, name: &str) -> v1::Animal {
        let arrival = self.arrival(park, name, "2025-03-01".parse().unwrap());
        let arrived = park.registrar.client.animals().register_arrival(arrival).await.unwrap();
        arrived.into_inner().animal.unwrap()
    }

    /// The arrival of an otter, to be sent or changed first.
    #[must_use]
    pub fn arrival(&self, park: &Park, name: &str, on: NaiveDate) -> v1::RegisterArrivalRequest {
        v1::RegisterArrivalRequest {
            request_id: self.request(),
            site: park.code.clone(),
            taxon: "Lontra canadensis".to_owned(),
            arrived_on: Some(day(on)),
            source: v1::ArrivalSource::Collection.into(),
            source_name: "Fenwater Collection".to_owned(),
            sex: v1::Sex::Female.into(),
            born_on: Some("2021-05".parse().unwrap()),
            marks: vec![house_name(name)],
            ..Default::default()
        }
    }

    /// The birth of an otter to a dam, to be sent or changed first.
    #[must_use]
    pub fn birth(&self, park: &Park, dam: &str, name: &str, on: NaiveDate) -> v1::RegisterBirthRequest {
        v1::RegisterBirthRequest {
            request_id: self.request(),
            site: park.code.clone(),
            taxon: "Lontra canadensis".to_owned(),
            born_on: Some(day(on)),
            sex: v1::Sex::Female.into(),
            dam: dam.to_owned(),
            marks: vec![house_name(name)],
            ..Default::default()
        }
    }

    /// Moves an animal from one park to another, with its title; answers its identifier.
    pub async fn moves(&self, animal: &str, from: &Park, to: &Park) -> String {
        let propose = v1::ProposeTransferRequest {
            request_id: self.request(),
            site: from.code.clone(),
            animal: animal.to_owned(),
            to_site: to.code.clone(),
            terms: v1::TransferTerms::TitlePasses.into(),
            why: "an unrelated partner lives there".to_owned(),
            ..Default::default()
        };
        let proposed = from.registrar.client.send(propose).await.unwrap().transfer.unwrap();
        let (request_id, transfer_id) = (self.request(), proposed.id);
        let agree =
            v1::AgreeTransferRequest { request_id, transfer_id: transfer_id.clone(), ..Default::default() };
        to.registrar.client.send(agree).await.unwrap();
        let request_id = self.request();
        let dispatch = v1::DispatchTransferRequest {
            request_id,
            transfer_id: transfer_id.clone(),
            ..Default::default()
        };
        from.registrar.client.send(dispatch).await.unwrap();
        let request_id = self.request();
        let receive = v1::ReceiveTransferRequest { request_id, transfer_id, ..Default::default() };
        to.registrar.client.send(receive).await.unwrap();
        proposed.animal_id
    }

    /// A round of one site, to be sent or changed first: animal, instant, grams.
    #[must_use]
    pub fn round(
        &self,
        site: &str,
        readings: &[(&str, chrono::DateTime<chrono::Utc>, i64)],
    ) -> v1::RecordWeightsRequest {
        v1::RecordWeightsRequest {
            request_id: self.request(),
            site: site.to_owned(),
            readings: readings
                .iter()
                .map(|&(animal, at, grams)| v1::Reading {
                    animal: animal.to_owned(),
                    when: Some(v1::reading::When::WeighedAt(timestamp(at))),
                    result: Some(v1::reading::Result::Mass(v1::Mass { milligrams: grams * 1000 })),
                    ..Default::default()
                })
                .collect(),
            validate_only: false,
        }
    }

    /// An outdoor enclosure without a stated capacity.
    pub async fn enclosure(&self, park: &Park, name: &str) {
        let enclosure = v1::CreateEnclosureRequest {
            request_id: self.request(),
            site: park.code.clone(),
            name: name.to_owned(),
            kind: v1::EnclosureKind::Outdoor.into(),
            capacity: 0,
        };
        park.registrar.client.sites().create_enclosure(enclosure).await.unwrap();
    }

    /// Loads [`PROTOCOL`].
    pub async fn load_protocol(&self, steward: &Person) {
        let load = v1::LoadProtocolRequest {
            request_id: self.request(),
            toml: PROTOCOL.to_owned(),
            ..Default::default()
        };
        steward.client.assessments().load_protocol(load).await.unwrap();
    }

    /// Loads [`ETHOGRAM`].
    pub async fn load_ethogram(&self, steward: &Person) {
        let load = v1::LoadEthogramRequest {
            request_id: self.request(),
            toml: ETHOGRAM.to_owned(),
            ..Default::default()
        };
        steward.client.ethograms().load_ethogram(load).await.unwrap();
    }

    /// Loads [`STANDARD`].
    pub async fn load_standard(&self, steward: &Person) {
        let toml = STANDARD.to_owned();
        let load = v1::LoadStandardRequest { request_id: self.request(), toml, ..Default::default() };
        steward.client.standards().load_standard(load).await.unwrap();
    }

    /// An assessment by [`PROTOCOL`], now, of named levels, to be sent or changed first.
    #[must_use]
    pub fn assessment(
        &self,
        site: &str,
        animal: &str,
        levels: &[(&str, &str)],
    ) -> v1::RecordAssessmentRequest {
        v1::RecordAssessmentRequest {
            request_id: self.request(),
            site: site.to_owned(),
            animal: animal.to_owned(),
            protocol: "otter-watch".to_owned(),
            findings: levels
                .iter()
                .map(|&(indicator, level)| v1::Finding {
                    indicator: indicator.to_owned(),
                    found: Some(v1::finding::Found::Level(level.to_owned())),
                    confidence: v1::Confidence::High.into(),
                    evidence: String::new(),
                })
                .collect(),
            ..Default::default()
        }
    }

    /// Sends two calls of which each waits for a row of a table, the first one first: both have their instant before
    /// either has the row.
    pub fn in_line<'a, A: 'a, B: 'a>(
        &'a self,
        (table, id): (&'a str, &'a str),
        first: impl Future<Output = A> + 'a,
        second: impl Future<Output = B> + 'a,
    ) -> Pin<Box<dyn Future<Output = (A, B)> + 'a>> {
        Box::pin(async move {
            let mut watchers = [self.owner().await, self.owner().await];
            let [one, other] = &mut watchers;
            let mut held = self.owner().await;
            sqlx::query("BEGIN").execute(&mut held).await.unwrap();
            let lock = format!("SELECT FROM {table} WHERE id = $1::uuid FOR UPDATE");
            sqlx::query(AssertSqlSafe(lock)).bind(id).execute(&mut held).await.unwrap();
            let (first, second, ()) = tokio::join!(
                first,
                async {
                    self.until_waiting(one, 1).await;
                    second.await
                },
                async {
                    self.until_waiting(other, 2).await;
                    sqlx::query("ROLLBACK").execute(&mut held).await.unwrap();
                }
            );
            (first, second)
        })
    }

    /// Waits until so many connections to the house's database wait for a lock: what a test runs at once
    /// has then come as far as it can.
    pub async fn until_waiting(&self, watcher: &mut PgConnection, connections: i64) {
        for _ in 0..6000 {
            let waiting: i64 = sqlx::query_scalar(
                "SELECT count(*) FROM pg_stat_activity
                  WHERE datname = current_database() AND wait_event_type = 'Lock'",
            )
            .fetch_one(&mut *watcher)
            .await
            .unwrap();
            if waiting >= connections {
                return;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("{connections} connections did not come to wait for a lock");
    }
}

fn house_name(name: &str) -> v1::NewMark {
    v1::NewMark { kind: v1::MarkKind::HouseName.into(), code: name.to_owned(), place_on_body: String::new() }
}
