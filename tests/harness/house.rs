//! A server in the test's own process, over a database of its own, with scripted time and identifiers.

use crate::clock::{TestClock, TestIds};
use crate::cluster;
use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use holt_proto::call::{self, Call};
use holt_server::access::keys::OwnKey;
use holt_server::access::permit::{Caller, Validity};
use holt_server::access::token::{Bearer, Subject, Tokens};
use holt_server::app;
use holt_server::clock::Clock;
use holt_server::config::Config;
use holt_server::model::person::Grant;
use holt_server::records::{Records, ledger};
use holt_server::wire;
use sqlx::{Connection, PgConnection};
use std::sync::Arc;
use tempfile::TempDir;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tonic::metadata::MetadataValue;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use tonic::{Request, Status};
use uuid::Uuid;

/// A running server.
pub struct House {
    /// Its rules, for what a test needs to do behind the wire.
    pub records: Records,
    /// Its time.
    pub clock: Arc<TestClock>,
    /// Where it listens.
    pub address: String,
    /// Its database, as owner.
    pub url: String,
    channel: Channel,
    tokens: Tokens,
    ids: Arc<TestIds>,
    keys: Arc<TempDir>,
    stop: Option<oneshot::Sender<()>>,
    served: Option<JoinHandle<()>>,
}

/// Adds a token to each call.
#[derive(Clone)]
pub struct WithToken(Option<MetadataValue<tonic::metadata::Ascii>>);

impl tonic::service::Interceptor for WithToken {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        if let Some(token) = &self.0 {
            request.metadata_mut().insert("authorization", token.clone());
        }
        Ok(request)
    }
}

type Wire = InterceptedService<Channel, WithToken>;

/// The services, as somebody sees them.
#[derive(Clone)]
pub struct Client {
    wire: Wire,
}

impl Client {
    /// Sends a message to its method.
    ///
    /// # Errors
    /// What the server answers.
    pub async fn send<C: Call>(&self, message: C) -> Result<C::Answer, Status> {
        Ok(call::send(self.wire.clone(), Request::new(message), usize::MAX).await?.into_inner())
    }
}

macro_rules! clients {
    ($($name:ident $client_of:ident $client:ident $server_of:ident $server:ident;)*) => {
        impl Client {
            $(
                #[doc = concat!("`", stringify!($client), "`")]
                pub fn $name(&self) -> holt_proto::v1::$client_of::$client<Wire> {
                    holt_proto::v1::$client_of::$client::new(self.wire.clone())
                }
            )*
        }
    };
}

holt_proto::services!(clients);

/// How often it is looked whether every connection has left its transaction: for ten seconds.
const MOST_LOOKS: u32 = 200;

/// When every test begins: a Monday morning at six.
#[must_use]
pub fn start_of_time() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 3, 2, 6, 0, 0).unwrap()
}

impl House {
    /// A server over a fresh database.
    pub async fn new() -> Self {
        Self::with(|_| ()).await
    }

    /// The same with other settings.
    pub async fn with(change: impl FnOnce(&mut Config)) -> Self {
        Self::over(cluster::database().await, change).await
    }

    /// A server over a database that is there.
    pub async fn over(url: String, change: impl FnOnce(&mut Config)) -> Self {
        Self::after(url, Uuid::nil(), change).await
    }

    /// The same where the database knows identifiers up to `last` already.
    pub async fn after(url: String, last: Uuid, change: impl FnOnce(&mut Config)) -> Self {
        let clock = Arc::new(TestClock::at(start_of_time()));
        let keys = Arc::new(tempfile::tempdir().unwrap());
        Self::serving(url, clock, Arc::new(TestIds::after(last)), keys, change).await
    }

    /// Another server over the same database, at the same time and with the same signing key.
    pub async fn beside(&self, change: impl FnOnce(&mut Config)) -> Self {
        let (clock, ids) = (Arc::clone(&self.clock), Arc::clone(&self.ids));
        Self::serving(self.url.clone(), clock, ids, Arc::clone(&self.keys), change).await
    }

    async fn serving(
        url: String,
        clock: Arc<TestClock>,
        ids: Arc<TestIds>,
        keys: Arc<TempDir>,
        change: impl FnOnce(&mut Config),
    ) -> Self {
        // What a fault was is told in the log alone.
        let log = tracing_subscriber::fmt().with_test_writer().with_max_level(tracing::Level::ERROR);
        let _ = log.try_init();
        let mut config = Config::defaults().unwrap();
        config.store.max_connections = 8;
        // The clock is scripted: nobody asks it unless the test does.
        config.ledger.seal_seconds = 0;
        config.climate.watch_seconds = 0;
        // Each person who comes in has a password: a sixth of the processor's time of a run, at the cost recommended.
        config.access.password_memory_kib = 8;
        config.access.password_passes = 1;
        change(&mut config);
        let key = keys.path().join("signing.pem");
        let own = || OwnKey::load_or_make(&key).unwrap();
        let serving = cluster::serving(&url);
        let (time, names) = (Arc::clone(&clock) as _, Arc::clone(&ids) as _);
        let house = app::House::over(&config, &serving, own(), time, names).await.unwrap();
        let life = TimeDelta::days(3650);
        let tokens =
            Tokens::new(own(), config.access.issuer.clone(), config.access.audience.clone(), life, None);
        let listener = wire::listen(([127, 0, 0, 1], 0).into()).unwrap();
        let address = format!("http://{}", listener.local_addr().unwrap());
        let records = house.records.clone();
        let (stop, stopped) = oneshot::channel();
        let served = tokio::spawn(async move {
            let stop = async {
                let _ = stopped.await;
            };
            house.serve(&config, listener, stop).await.unwrap();
        });
        let channel = Channel::from_shared(address.clone()).unwrap().connect_lazy();
        let (stop, served) = (Some(stop), Some(served));
        Self { records, clock, address, url, channel, tokens, ids, keys, stop, served }
    }

    /// The services for whoever shows no token.
    #[must_use]
    pub fn anonymous(&self) -> Client {
        Client { wire: InterceptedService::new(self.channel.clone(), WithToken(None)) }
    }

    /// The services for whoever shows this token.
    #[must_use]
    pub fn with_token(&self, token: &str) -> Client {
        let value = format!("Bearer {token}").parse().unwrap();
        Client { wire: InterceptedService::new(self.channel.clone(), WithToken(Some(value))) }
    }

    /// A token for a person, without the cost of a password.
    #[must_use]
    pub fn token(&self, person: Uuid, grants: &[Grant]) -> String {
        let bearer = Bearer {
            person: Subject::Own(person),
            name: String::new(),
            grants: grants.to_vec(),
            must_change_password: false,
            validity: Validity::Epoch(0),
        };
        self.tokens.sign(person, &bearer, Uuid::from_u128(1), self.clock.now()).unwrap().0
    }

    /// The wire itself.
    #[must_use]
    pub fn channel(&self) -> Channel {
        self.channel.clone()
    }

    /// A connection to the database as its owner, past every door.
    pub async fn owner(&self) -> PgConnection {
        PgConnection::connect(&self.url).await.unwrap()
    }

    /// A connection to the database as the service: what an SQL prompt behind the doors can do.
    pub async fn service(&self) -> PgConnection {
        cluster::service(&self.url).await
    }

    /// A fresh request id.
    #[must_use]
    pub fn request(&self) -> String {
        self.records.store.new_id().to_string()
    }

    /// Stops the server as a signal would, checks what must hold of its database at any time, and drops it.
    pub async fn close(self) {
        self.check().await;
        self.verify().await;
        let url = self.url.clone();
        self.stop().await;
        cluster::drop_database(&url).await;
    }

    /// Checks that the records agree with the ledger, and the ledger with its seals. Only where nobody wrote
    /// past the doors.
    ///
    /// # Panics
    /// If they do not.
    pub async fn verify(&self) {
        ledger::seal(&self.records, &Caller::itself()).await.unwrap();
        let verified = ledger::check(&self.records, &Caller::itself(), "").await.unwrap();
        assert_eq!(verified.breaks, [], "the records do not agree with the ledger");
    }

    /// Stops the server as a signal would.
    pub async fn stop(mut self) {
        self.stop.take().unwrap().send(()).unwrap();
        self.served.take().unwrap().await.unwrap();
    }

    /// Checks what must hold of the database at any time.
    ///
    /// # Panics
    /// If it does not hold.
    pub async fn check(&self) {
        let mut owner = self.owner().await;
        for (what, query) in [
            (
                "a living animal without exactly one holder",
                "SELECT count(*) FROM animals a
                  WHERE holt_animal(a.id) = a.id AND NOT holt_never_was(a.id)
                    AND NOT EXISTS (SELECT FROM standing.holdings h WHERE h.animal_id = a.id AND h.superseded_at IS NULL
                                       AND h.ended_how IN ('death', 'departure', 'escape'))
                    AND (SELECT count(*) FROM standing.holdings h WHERE h.animal_id = a.id AND h.superseded_at IS NULL
                            AND h.ended_at IS NULL) <> 1",
            ),
            (
                "a gap between a sender's holding and the receiver's",
                "SELECT count(*) FROM standing.holdings h
                  WHERE h.superseded_at IS NULL AND h.ended_how = 'transfer'
                    AND NOT EXISTS (SELECT FROM standing.holdings n WHERE n.animal_id = h.animal_id
                                       AND n.superseded_at IS NULL AND n.began_at = h.ended_at)",
            ),
            (
                "an animal that lives where nobody holds it",
                "SELECT count(*) FROM standing.placements p
                  WHERE p.superseded_at IS NULL AND p.ended_at IS NULL
                    AND NOT EXISTS (SELECT FROM standing.holdings h WHERE h.animal_id = p.animal_id
                                       AND h.superseded_at IS NULL AND h.ended_at IS NULL AND h.site_id = p.site_id)",
            ),
            (
                "a member of a group of a site that does not hold it",
                "SELECT count(*) FROM standing.memberships m
                  WHERE m.superseded_at IS NULL AND m.ended_at IS NULL
                    AND NOT EXISTS (SELECT FROM standing.holdings h WHERE h.animal_id = m.animal_id
                                       AND h.superseded_at IS NULL AND h.ended_at IS NULL AND h.site_id = m.site_id)",
            ),
            (
                "a request without its ledger entry",
                "SELECT count(*) FROM requests r
                  WHERE NOT EXISTS (SELECT FROM ledger l WHERE l.request_id = r.id AND l.person_id = r.person_id)",
            ),
        ] {
            let count: i64 = sqlx::query_scalar(query).fetch_one(&mut owner).await.unwrap();
            assert_eq!(count, 0, "{what}");
        }
        // A write that was refused is rolled back after its answer: on a busy machine a while after.
        let inside = "SELECT count(*) FROM pg_stat_activity
                       WHERE datname = current_database() AND state LIKE 'idle in transaction%'";
        for tries in 0.. {
            let count: i64 = sqlx::query_scalar(inside).fetch_one(&mut owner).await.unwrap();
            if count == 0 {
                break;
            }
            assert!(tries < MOST_LOOKS, "a connection left inside a transaction");
            sqlx::query("SELECT pg_sleep(0.05)").execute(&mut owner).await.unwrap();
        }
    }
}
