//! `kill -9` of a server in the middle of rounds: what was acknowledged is there after the next start.

use chrono::{TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::people_service_client::PeopleServiceClient;
use holt_proto::v1::site_service_client::SiteServiceClient;
use holt_server::app::{self, House};
use holt_server::config::{Config, Surroundings};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use tonic::metadata::MetadataValue;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use tonic::{Request, Status};
use uuid::Uuid;

const DIR: &str = "HOLT_TEST_SERVER_DIR";

/// A server with a private cluster in a process of its own.
struct Server {
    child: Child,
    address: String,
    steward: Option<(String, String)>,
}

impl Server {
    fn start(dir: &Path) -> Self {
        let (_, module) = module_path!().split_once("::").unwrap();
        let child = Command::new(std::env::current_exe().unwrap())
            .args(["--ignored", "--nocapture", "--exact", &format!("{module}::serves_until_killed")])
            .env(DIR, dir)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut server = Self { child, address: String::new(), steward: None };
        let mut said = BufReader::new(server.child.stdout.take().unwrap()).lines();
        loop {
            let line = said.next().expect("the server came up").unwrap();
            if let Some(secret) = line.strip_prefix("steward ") {
                let (name, password) = secret.split_once(' ').unwrap();
                server.steward = Some((name.to_owned(), password.to_owned()));
            } else if let Some(address) = line.strip_prefix("address ") {
                // What it says later must not block it.
                std::thread::spawn(move || said.for_each(drop));
                server.address = address.to_owned();
                return server;
            }
        }
    }

    fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[derive(Clone)]
struct WithToken(MetadataValue<tonic::metadata::Ascii>);

impl tonic::service::Interceptor for WithToken {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        request.metadata_mut().insert("authorization", self.0.clone());
        Ok(request)
    }
}

type Wire = InterceptedService<Channel, WithToken>;

async fn sign_in(address: &str, name: &str, password: &str) -> Wire {
    let channel = Channel::from_shared(address.to_owned()).unwrap().connect().await.unwrap();
    let asked = v1::SignInRequest { sign_in_name: name.to_owned(), password: password.to_owned() };
    let tokens = PeopleServiceClient::new(channel.clone()).sign_in(asked).await.unwrap().into_inner().tokens;
    let token = format!("Bearer {}", tokens.unwrap().access_token).parse().unwrap();
    InterceptedService::new(channel, WithToken(token))
}

fn id() -> String {
    Uuid::new_v4().to_string()
}

/// From a first start to an otter on record. Answers the keeper's wire.
async fn settle_in(server: &Server) -> Wire {
    let (name, one_time) = server.steward.clone().unwrap();
    let wire = sign_in(&server.address, &name, &one_time).await;
    let change = v1::ChangePasswordRequest {
        current_password: one_time,
        new_password: "six in the morning".to_owned(),
    };
    PeopleServiceClient::new(wire).change_password(change).await.unwrap();
    let steward = sign_in(&server.address, &name, "six in the morning").await;
    let site = v1::CreateSiteRequest {
        request_id: id(),
        code: "QUI".to_owned(),
        name: "Quill Park".to_owned(),
        time_zone: "Europe/Dublin".to_owned(),
        ..Default::default()
    };
    SiteServiceClient::new(steward.clone()).create_site(site).await.unwrap();
    for role in [v1::Role::Keeper, v1::Role::Registrar] {
        let grant = v1::GrantRoleRequest {
            request_id: id(),
            sign_in_name: name.clone(),
            grant: Some(v1::Grant { role: role.into(), site: "QUI".to_owned(), every_site: false }),
        };
        PeopleServiceClient::new(steward.clone()).grant_role(grant).await.unwrap();
    }
    let wire = sign_in(&server.address, &name, "six in the morning").await;
    let mut animals = v1::animal_service_client::AnimalServiceClient::new(wire.clone());
    let taxon = v1::CreateTaxonRequest {
        request_id: id(),
        scientific_name: "Lontra canadensis".to_owned(),
        common_name: "otter".to_owned(),
        ..Default::default()
    };
    animals.create_taxon(taxon).await.unwrap();
    let arrival = v1::RegisterArrivalRequest {
        request_id: id(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        arrived_on: Some("2024-01-01".parse().unwrap()),
        source: v1::ArrivalSource::Collection.into(),
        sex: v1::Sex::Female.into(),
        marks: vec![v1::NewMark {
            kind: v1::MarkKind::HouseName.into(),
            code: "Bramble".to_owned(),
            place_on_body: String::new(),
        }],
        ..Default::default()
    };
    animals.register_arrival(arrival).await.unwrap();
    wire
}

#[expect(clippy::disallowed_methods, reason = "a real server keeps real time")]
fn reading(n: i64) -> v1::Reading {
    v1::Reading {
        animal: "Bramble".to_owned(),
        when: Some(v1::reading::When::WeighedAt(timestamp(Utc::now() - TimeDelta::minutes(100_000 - n)))),
        result: Some(v1::reading::Result::Mass(v1::Mass { milligrams: 8_000_000 + n * 1000 })),
        ..Default::default()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn acknowledged_readings_survive_the_death_of_the_server_and_its_database() {
    let folder = tempfile::Builder::new().prefix("holt-killed-").tempdir().unwrap();
    std::fs::set_permissions(folder.path(), std::os::unix::fs::PermissionsExt::from_mode(0o755)).unwrap();
    let mut server = Server::start(folder.path());
    let wire = settle_in(&server).await;

    let acknowledged = Arc::new(AtomicI64::new(0));
    let next = Arc::new(AtomicI64::new(0));
    let senders: Vec<_> = (0..4)
        .map(|_| {
            let (wire, acknowledged, next) = (wire.clone(), acknowledged.clone(), next.clone());
            tokio::spawn(async move {
                let mut client = v1::weight_service_client::WeightServiceClient::new(wire);
                loop {
                    let first = next.fetch_add(5, Ordering::SeqCst);
                    let round = v1::RecordWeightsRequest {
                        request_id: id(),
                        site: "QUI".to_owned(),
                        readings: (first..first + 5).map(reading).collect(),
                        validate_only: false,
                    };
                    match client.record_weights(round).await {
                        Ok(answer) => {
                            let kept = answer
                                .into_inner()
                                .answers
                                .iter()
                                .filter(|a| !a.weight_id.is_empty())
                                .count();
                            acknowledged.fetch_add(i64::try_from(kept).unwrap(), Ordering::SeqCst);
                        }
                        Err(_) => return,
                    }
                }
            })
        })
        .collect();
    while acknowledged.load(Ordering::SeqCst) < 200 {
        tokio::task::yield_now().await;
    }
    server.kill();
    for sender in senders {
        sender.await.unwrap();
    }
    let acknowledged = acknowledged.load(Ordering::SeqCst);

    let server = Server::start(folder.path());
    assert_eq!(server.steward, None, "a first start happens once");
    let wire = sign_in(&server.address, "steward", "six in the morning").await;
    let mut found = 0;
    let mut token = String::new();
    let mut client = v1::weight_service_client::WeightServiceClient::new(wire);
    loop {
        let list = v1::ListWeightsRequest {
            site: "QUI".to_owned(),
            page: Some(v1::PageRequest { size: 1000, token: token.clone() }),
            ..Default::default()
        };
        let page = client.list_weights(list).await.unwrap().into_inner();
        found += i64::try_from(page.weights.len()).unwrap();
        token = page.page.unwrap().next_token;
        if token.is_empty() {
            break;
        }
    }
    println!("kill -9: {acknowledged} readings acknowledged, {found} there after the next start");
    assert!(found >= acknowledged, "{found} of {acknowledged}");
    assert_eq!(found % 5, 0, "rounds are there whole or not at all");
}

/// The process that is killed.
#[test]
#[ignore = "started by the test above"]
fn serves_until_killed() {
    let Some(dir) = std::env::var_os(DIR) else { return };
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        let mut config = Config::defaults().unwrap();
        config.store.data_dir = dir.into();
        config.server.listen = "127.0.0.1:0".parse().unwrap();
        let listener = app::listen(&config).unwrap();
        let address = listener.local_addr().unwrap();
        let house = House::open(&config, &Surroundings::read()).await.unwrap();
        if let Some((name, password)) = &house.first_steward {
            println!("steward {name} {password}");
        }
        println!("address http://{address}");
        house.serve(&config, listener, std::future::pending()).await.unwrap();
    });
}
