//! One private cluster per test run, with a migrated template; a clone of it per test.

use crate::pooler;
use holt_server::store::cluster::{Address, Cluster, Settings, first_open, scratch};
use holt_server::store::secret::Secret;
use holt_server::store::{Login, Serving, make_login, migrate};
use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};
use std::{env, thread};

const TEMPLATE: &str = "holt";

/// The cluster of this run, which makes URLs of its databases. It lives on a thread of its own until the
/// process ends; its watchdog then removes it.
fn cluster() -> &'static Address {
    static CLUSTER: OnceLock<Address> = OnceLock::new();
    CLUSTER.get_or_init(|| {
        let (send, receive) = std::sync::mpsc::channel();
        thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            let cluster = runtime.block_on(start());
            send.send(cluster.address().clone()).unwrap();
            runtime.block_on(std::future::pending::<()>());
            drop(cluster);
        });
        receive.recv().expect("the test cluster started")
    })
}

/// What the databases of a run that are there at one time take at most, with their logs, several times over.
const ROOM: u64 = 2 << 30;

/// A folder in memory, if there is one with room: each test copies a database and drops it, which is some 600 files, and
/// on a disk that was two fifths of the processor's time.
fn memory() -> Option<PathBuf> {
    let shared = PathBuf::from("/dev/shm");
    let system = rustix::fs::statvfs(&shared).ok()?;
    (system.f_bavail.saturating_mul(system.f_frsize) >= ROOM).then_some(shared)
}

async fn start() -> Cluster {
    let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/test-clusters");
    let places = memory().into_iter().chain([target, env::temp_dir()]);
    let open = first_open(places).unwrap_or_else(env::temp_dir);
    let folder: PathBuf = scratch(&open).expect("a folder for the test cluster");
    let settings = Settings {
        path: env::var_os("PATH"),
        extra: vec![("max_connections".into(), "300".into())],
        ..Settings::for_one_run(folder)
    };
    let cluster = Cluster::start(settings).await.expect("the test cluster started");
    prepare(&cluster.url(TEMPLATE)).await;
    cluster
}

/// The login as which every server of this run serves, and whoever tries what it may do.
pub fn login() -> &'static Login {
    static LOGIN: OnceLock<Login> = OnceLock::new();
    LOGIN.get_or_init(|| Login::fresh().expect("the machine has randomness"))
}

/// Brings a database up to date, and lets the login in.
async fn prepare(url: &str) {
    let owner = Secret::new(url.to_owned());
    migrate(&owner).await.expect("the database is migrated");
    make_login(&owner, login()).await.expect("the login is made");
}

/// How a server serves a database, of which this is the owner's URL.
#[must_use]
pub fn serving(url: &str) -> Serving {
    let pooled = pooler::through(url, cluster);
    let login = Some(login().clone());
    Serving { login, pooled: pooled.is_some(), url: Secret::new(pooled.unwrap_or_else(|| url.to_owned())) }
}

/// A connection to a database as the service, past any pooler: a prompt is a session. This is the owner's URL.
pub async fn service(url: &str) -> PgConnection {
    let serving = Serving { url: Secret::new(url.to_owned()), login: Some(login().clone()), pooled: false };
    let options = serving.options().unwrap();
    PgConnection::connect_with(&options).await.unwrap()
}

/// A cluster of its own with a database of today's schema, and that database's owner's URL: for a bench, which no
/// other test may slow down.
///
/// # Panics
/// If it does not start.
pub async fn apart() -> (Cluster, String) {
    let parent = first_open([env::temp_dir()]).unwrap_or_else(env::temp_dir);
    let settings = Settings {
        path: env::var_os("PATH"),
        ephemeral: true,
        ..Settings::kept(scratch(&parent).expect("a folder for the cluster"))
    };
    let cluster = Cluster::start(settings).await.expect("the cluster started");
    let url = cluster.url(TEMPLATE);
    prepare(&url).await;
    (cluster, url)
}

/// A fresh database with today's schema and nothing in it, as its owner's URL.
pub async fn database() -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let cluster = cluster();
    let name = format!("test_{}", COUNT.fetch_add(1, Ordering::Relaxed));
    let mut owner = PgConnection::connect(&cluster.url("postgres")).await.unwrap();
    sqlx::query(AssertSqlSafe(format!("CREATE DATABASE {name} TEMPLATE {TEMPLATE}")))
        .execute(&mut owner)
        .await
        .unwrap();
    cluster.url(&name)
}

/// Drops a database of this run, which nobody needs any more: all of a run together fill a small disk.
pub async fn drop_database(url: &str) {
    let options = PgConnectOptions::from_str(url).unwrap();
    let name = options.get_database().unwrap();
    let mut owner = PgConnection::connect_with(&options.clone().database("postgres")).await.unwrap();
    sqlx::query(AssertSqlSafe(format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)")))
        .execute(&mut owner)
        .await
        .unwrap();
}

/// A copy of a database to which nobody is connected, as its owner's URL.
pub async fn copy_of(url: &str) -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let cluster = cluster();
    let options = PgConnectOptions::from_str(url).unwrap();
    let from = options.get_database().unwrap();
    let name = format!("{from}_copy_{}", COUNT.fetch_add(1, Ordering::Relaxed));
    let mut owner = PgConnection::connect(&cluster.url("postgres")).await.unwrap();
    sqlx::query(AssertSqlSafe(format!("CREATE DATABASE {name} TEMPLATE {from}")))
        .execute(&mut owner)
        .await
        .unwrap();
    cluster.url(&name)
}

/// An empty database without any schema, as its owner's URL.
pub async fn empty_database(name: &str) -> String {
    let cluster = cluster();
    let mut owner = PgConnection::connect(&cluster.url("postgres")).await.unwrap();
    sqlx::query(AssertSqlSafe(format!("CREATE DATABASE {name} TEMPLATE template0")))
        .execute(&mut owner)
        .await
        .unwrap();
    cluster.url(name)
}
