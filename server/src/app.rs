//! Assembly: store, keys, services, layers, and a graceful stop.

use crate::access::keys::{KeyError, OutsideKeys, OwnKey};
use crate::access::password::{Cost, HashError};
use crate::access::token::{Outside, Tokens};
use crate::api::Api;
use crate::api::shield::{self, ShieldLayer};
use crate::api::streams::Streams;
use crate::api::turns::Most;
use crate::clock::{Clock, Ids, RandomIds, SystemClock};
use crate::config::{Config, ConfigError, Surroundings};
use crate::jobs::{houses, sealer};
use crate::records::people::{self, Door};
use crate::records::{Records, error};
use crate::store::cluster::{self, Cluster};
use crate::store::secret::Secret;
use crate::store::{self, ConnectError, Limits, Login, Serving, Store};
use crate::wire::{self, Incoming, Patience, Peers, raise_open_files};
use chrono::TimeDelta;
use http::{HeaderName, HeaderValue, Method};
use std::num::NonZeroU32;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio_util::task::TaskTracker;
use tonic::codec::CompressionEncoding;
use tonic::service::Routes;
use tonic::transport::Identity;
use tonic::transport::server::ServerTlsConfig;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;
use tonic_web::GrpcWebLayer;
use tower_http::cors::{AllowHeaders, CorsLayer};

/// The name of Holt's database in a private cluster, which the cluster makes.
const DATABASE: &str = "holt";

/// Connections are asked to come again now and then, so that load spreads over servers that were added.
const CONNECTION_AGE: Duration = Duration::from_secs(3600);

/// How often everybody who is connected is asked for a sign of life, and how long it may take. What is silent
/// for longer than both has none to give.
const PING: Duration = Duration::from_secs(30);
const PONG: Duration = Duration::from_secs(20);

/// Calls at a time on one connection; a client with more waits by itself.
const CALLS_ON_ONE: u32 = 64;

/// Largest headers of a call, bytes: a token of a few hundred sites.
const HEADERS: u32 = 32 * 1024;

/// What an answer says in its metadata, and web pages may read.
const TOLD_BESIDE: [&str; 5] =
    ["grpc-status", "grpc-message", "grpc-status-details-bin", "holt-unreadable-bin", "x-request-id"];

/// How long a browser remembers that a page may call.
const PREFLIGHT: Duration = Duration::from_secs(600);

/// Files that are open beside connections.
const OTHER_FILES: usize = 100;

/// Why the server does not run.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    #[error(transparent)]
    Config(#[from] ConfigError),
    #[error(transparent)]
    Cluster(#[from] cluster::Error),
    #[error(transparent)]
    Connect(#[from] ConnectError),
    #[error(transparent)]
    Key(#[from] KeyError),
    #[error(transparent)]
    Hash(#[from] HashError),
    #[error("cannot listen on {address}: {source}; choose another address with server.listen")]
    Listen { address: std::net::SocketAddr, source: std::io::Error },
    #[error("the TLS file {path} cannot be used: {what}")]
    Tls { path: PathBuf, what: String },
    #[error("Holt could not add the first steward: {0}")]
    FirstStart(String),
    #[error("the server stopped: {0}")]
    Served(String),
}

/// A server that is ready to serve, with the PostgreSQL that it manages, if it manages one.
pub struct House {
    /// The rules over the store.
    pub records: Records,
    /// Sign-in name and one-time password of the first steward, where this start made them.
    pub first_steward: Option<(String, String)>,
    cluster: Option<Cluster>,
    page_secret: [u8; 32],
}

impl House {
    /// Opens the store: a private cluster in `data_dir`, or the database of the settings.
    ///
    /// # Errors
    /// [`AppError`], whose message says what to do.
    pub async fn open(config: &Config, around: &Surroundings) -> Result<Self, AppError> {
        let data_dir = config.data_dir(around, rustix::process::geteuid().is_root())?;
        let (cluster, url) = if config.store.database_url.is_empty() {
            let cluster = Cluster::start(settings(config, around, &data_dir.join("database"))).await?;
            let url = Secret::new(cluster.url(DATABASE));
            (Some(cluster), url)
        } else {
            (None, config.store.database_url.clone())
        };
        let owner = if config.store.owner_url.is_empty() { &url } else { &config.store.owner_url };
        store::migrate(owner).await?;
        let login = if config.store.owner_url.is_empty() {
            let login = Login::load_or_make(&data_dir.join("keys").join("serving-login"))?;
            store::make_login(owner, &login).await?;
            Some(login)
        } else {
            store::admit(owner, &url).await?;
            None
        };
        let serving = Serving { url, login, pooled: config.store.pooled };
        let key_file = if config.access.signing_key.as_os_str().is_empty() {
            data_dir.join("keys").join("signing.pem")
        } else {
            config.access.signing_key.clone()
        };
        let own = OwnKey::load_or_make(&key_file)?;
        let mut house = Self::over(config, &serving, own, Arc::new(SystemClock), Arc::new(RandomIds)).await?;
        house.cluster = cluster;
        house.first_steward = people::first_steward(&house.records).await.map_err(first_start)?;
        Ok(house)
    }

    /// A house over a database that is up to date, served as a login that owns nothing, with the clock and
    /// the identifiers given.
    ///
    /// # Errors
    /// [`AppError`], whose message says what to do.
    pub async fn over(
        config: &Config,
        serving: &Serving,
        own: OwnKey,
        clock: Arc<dyn Clock>,
        ids: Arc<dyn Ids>,
    ) -> Result<Self, AppError> {
        let limits = Limits {
            connections: config.store.max_connections,
            acquire: Duration::from_secs(config.store.acquire_seconds),
        };
        let pool = store::connect(serving, limits).await?;
        let page_secret = own.derive(b"page tokens");
        let access = &config.access;
        let outside = if access.outside_jwks.as_os_str().is_empty() {
            None
        } else {
            Some(Outside {
                keys: OutsideKeys::load(&access.outside_jwks)?,
                issuer: access.outside_issuer.clone(),
                audience: access.outside_audience.clone(),
            })
        };
        let life = TimeDelta::seconds(access.access_seconds.into());
        let tokens = Tokens::new(own, access.issuer.clone(), access.audience.clone(), life, outside);
        let tries = NonZeroU32::new(access.sign_ins_per_minute).unwrap_or(NonZeroU32::MIN);
        let cost = Cost { memory_kib: access.password_memory_kib, passes: access.password_passes };
        if cost.memory_kib < Cost::RECOMMENDED.memory_kib || cost.passes < Cost::RECOMMENDED.passes {
            tracing::warn!(?cost, recommended = ?Cost::RECOMMENDED, "passwords are hashed at less than the cost recommended");
        }
        let door = Door::new(tokens, TimeDelta::seconds(access.refresh_seconds.into()), tries, cost)?;
        let records = Records {
            store: Store::new(pool, serving.pooled, clock, ids, config.server.call_limit()),
            door: Arc::new(door),
            false_a_year: config.weights.false_a_year,
            loan_notice_days: config.loans.notice_days,
        };
        Ok(Self { records, first_steward: None, cluster: None, page_secret })
    }

    /// Serves on `listener` until `stop` is done, then lets calls in flight finish.
    ///
    /// The order of stopping: health says NOT_SERVING; no new connections; calls in flight get
    /// `server.stop_seconds`; the pool closes; the private cluster stops.
    ///
    /// Boxed, so that all services are compiled here and not once more in each program that serves.
    ///
    /// # Errors
    /// [`AppError`], whose message says what to do.
    pub fn serve<'a>(
        self,
        config: &'a Config,
        listener: TcpListener,
        stop: impl Future<Output = ()> + Send + 'a,
    ) -> Pin<Box<dyn Future<Output = Result<(), AppError>> + Send + 'a>> {
        Box::pin(self.serve_until(config, listener, Box::pin(stop)))
    }

    async fn serve_until(
        mut self,
        config: &Config,
        listener: TcpListener,
        stop: Pin<Box<dyn Future<Output = ()> + Send + '_>>,
    ) -> Result<(), AppError> {
        let (health, health_service) = tonic_health::server::health_reporter();
        say(&health, ServingStatus::NotServing).await;
        let tasks = TaskTracker::new();
        let shield = ShieldLayer::new(self.records.clone(), limits(config), tasks.clone());
        let mut server = tonic::transport::Server::builder()
            .accept_http1(true)
            .layer(web_pages(&config.server.web_origins))
            .layer(GrpcWebLayer::new())
            .layer(shield)
            .http2_max_pending_accept_reset_streams(Some(64))
            .http2_max_header_list_size(HEADERS)
            .max_concurrent_streams(CALLS_ON_ONE)
            .max_connection_age(CONNECTION_AGE)
            .http2_keepalive_interval(Some(PING))
            .http2_keepalive_timeout(Some(PONG));
        if config.server.has_tls() {
            server = server.tls_config(tls(config)?).map_err(|error| AppError::Tls {
                path: config.server.tls_certificate.clone(),
                what: error.to_string(),
            })?;
        }
        let stopping = tokio_util::sync::CancellationToken::new();
        let reply = Duration::from_secs(config.server.reply_seconds);
        let streams = Streams::new(tasks.clone(), stopping.clone(), config.server.max_calls, reply);
        let api = Api::new(self.records.clone(), self.page_secret, streams, config.server.max_import_bytes);
        let mut routes = routes(&api, config).add_service(health_service);
        if config.server.reflection {
            let (v1, v1alpha) = (reflection().build_v1(), reflection().build_v1alpha());
            routes = routes.add_service(v1.map_err(mute)?).add_service(v1alpha.map_err(mute)?);
        }
        let accept = server
            .add_routes(routes)
            .serve_with_incoming_shutdown(incoming(config, listener), stopping.clone().cancelled_owned());
        if let Some(every) = config.ledger.seal_every() {
            tasks.spawn(sealer::run(self.records.clone(), every, stopping.clone()));
        }
        if let Some(every) = config.climate.watch_every() {
            tasks.spawn(houses::run(self.records.clone(), every, stopping.clone()));
        }
        say(&health, ServingStatus::Serving).await;
        let grace = Duration::from_secs(config.server.stop_seconds);
        let ended = {
            let mut accept = std::pin::pin!(accept);
            let cluster_ended = async {
                match self.cluster.as_mut() {
                    Some(cluster) => cluster.ended().await,
                    None => std::future::pending().await,
                }
            };
            let why = tokio::select! {
                served = &mut accept => Err(AppError::Served(served.map_or_else(|e| e.to_string(), |()| "by itself".to_owned()))),
                error = cluster_ended => Err(AppError::Cluster(error)),
                () = stop => Ok(()),
            };
            tracing::info!("stopping: letting calls in flight finish");
            say(&health, ServingStatus::NotServing).await;
            stopping.cancel();
            tasks.close();
            // A stream that stays open would hold the server for ever.
            let quiet = async {
                tasks.wait().await;
                let _ = tokio::time::timeout(Duration::from_millis(500), accept).await;
            };
            if tokio::time::timeout(grace, quiet).await.is_err() {
                tracing::warn!(?grace, "some calls did not finish in time");
            }
            why
        };
        self.records.store.close().await;
        if let Some(cluster) = self.cluster.take() {
            cluster.stop().await?;
        }
        tracing::info!("stopped");
        ended
    }
}

/// What calls are held to, by the settings.
#[must_use]
pub fn limits(config: &Config) -> shield::Limits {
    let server = &config.server;
    shield::Limits {
        most: Most {
            calls: server.max_calls,
            of_one_person: server.max_calls_per_person,
            strangers: server.max_calls_of_strangers,
            strangers_a_minute: NonZeroU32::new(server.strangers_calls_per_minute),
            imports: server.max_imports,
        },
        call: server.call_limit(),
        body: Duration::from_secs(server.body_seconds),
        stream_silence: Duration::from_secs(server.silence_seconds),
        taken_in: server.max_import_bytes,
    }
}

/// Connections as they come in: as many as the settings and the operating system allow.
fn incoming(config: &Config, listener: TcpListener) -> Incoming {
    let server = &config.server;
    let others = OTHER_FILES + config.store.max_connections as usize;
    let files = raise_open_files((server.max_connections + others) as u64);
    let room = usize::try_from(files).unwrap_or(usize::MAX).saturating_sub(others).max(1);
    if room < server.max_connections {
        tracing::warn!(
            connections = room,
            "the operating system allows fewer open files than server.max_connections"
        );
    }
    let patience = Patience {
        opening: Duration::from_secs(server.handshake_seconds),
        silence: 2 * (PING + PONG),
        reply: Duration::from_secs(server.reply_seconds),
    };
    let peers = Peers::new(room.min(server.max_connections), server.max_connections_per_peer);
    Incoming::new(listener, peers, patience)
}

fn first_start(error: error::Error) -> AppError {
    AppError::FirstStart(match error {
        error::Error::Refused(refusal) => refusal.to_string(),
        error::Error::Fault(fault) => fault.to_string(),
    })
}

fn settings(config: &Config, around: &Surroundings, folder: &Path) -> cluster::Settings {
    let bin_dir = &config.store.postgres_bin;
    cluster::Settings {
        bin_dir: (!bin_dir.as_os_str().is_empty()).then(|| bin_dir.clone()),
        path: around.path.clone(),
        short_dir: around.xdg_runtime_dir.clone().filter(|_| !rustix::process::geteuid().is_root()),
        ..cluster::Settings::kept(folder)
    }
}

fn tls(config: &Config) -> Result<ServerTlsConfig, AppError> {
    let read = |path: &Path| {
        std::fs::read(path).map_err(|error| AppError::Tls { path: path.to_owned(), what: error.to_string() })
    };
    let certificate = read(&config.server.tls_certificate)?;
    let key = read(&config.server.tls_private_key)?;
    Ok(ServerTlsConfig::new()
        .identity(Identity::from_pem(certificate, key))
        .timeout(Duration::from_secs(config.server.handshake_seconds)))
}

fn reflection() -> tonic_reflection::server::Builder<'static> {
    tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(holt_proto::FILE_DESCRIPTOR_SET)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
}

#[expect(clippy::needless_pass_by_value, reason = "it is given to `map_err`")]
fn mute(error: tonic_reflection::server::Error) -> AppError {
    AppError::Served(format!("the descriptors cannot be reflected: {error}"))
}

/// Says of the whole and of each service alike whether it serves: none of them goes without the others.
async fn say(health: &HealthReporter, status: ServingStatus) {
    macro_rules! names {
        ($($file:ident $client_of:ident $client:ident $server_of:ident $server:ident;)*) => {
            ["", $(holt_proto::v1::$server_of::SERVICE_NAME),*]
        };
    }
    for service in holt_proto::services!(names) {
        health.set_service_status(service, status).await;
    }
}

/// Which web pages a browser lets call, and what it lets them read of an answer beside the messages.
fn web_pages(origins: &[String]) -> CorsLayer {
    let origins: Vec<HeaderValue> = origins.iter().filter_map(|origin| origin.parse().ok()).collect();
    CorsLayer::new()
        .allow_origin(origins)
        .allow_methods([Method::POST])
        .allow_headers(AllowHeaders::mirror_request())
        .expose_headers(TOLD_BESIDE.map(HeaderName::from_static))
        .max_age(PREFLIGHT)
}

/// Every service of package `holt.v1`, each with the limit on message sizes, which holds for what comes out of a
/// compressed one, too.
fn routes(api: &Api, config: &Config) -> Routes {
    let most = config.server.max_message_bytes;
    let mut routes = Routes::builder();
    macro_rules! add {
        ($($file:ident $client_of:ident $client:ident $server_of:ident $server:ident;)*) => {
            $(routes.add_service(
                holt_proto::v1::$server_of::$server::new(api.clone())
                    .max_decoding_message_size(most)
                    .max_encoding_message_size(most)
                    .accept_compressed(CompressionEncoding::Gzip)
                    .accept_compressed(CompressionEncoding::Zstd)
                    .send_compressed(CompressionEncoding::Zstd)
                    .send_compressed(CompressionEncoding::Gzip),
            );)*
        };
    }
    holt_proto::services!(add);
    routes.routes()
}

/// Listens where the settings say.
///
/// # Errors
/// [`AppError::Listen`] where the address is taken or not ours.
pub fn listen(config: &Config) -> Result<TcpListener, AppError> {
    let address = config.server.listen;
    wire::listen(address).map_err(|source| AppError::Listen { address, source })
}
