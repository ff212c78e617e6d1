//! `holtd demo`: three invented parks, a year and a half of records, and three people's work through the
//! public API, as they would do it by hand.
//!
//! The demo is a client of the server like any other: it loads its scenario over the wire, while the
//! server's clock is turned back and walks through the months, so that what was raised when, and what was
//! known when, is as it would have been. Then the clock is the machine's, and the `holt` command does the
//! rest, each step shown with what came back.

mod clock;
mod family;
mod hands;
mod journeys;
mod load;
mod masses;
mod night;
mod scenario;

use crate::access::keys::OwnKey;
use crate::app::{self, AppError, House};
use crate::clock::RandomIds;
use crate::config::{Config, Surroundings};
use crate::records::people;
use crate::store::cluster::{self, Cluster, Settings};
use crate::store::secret::Secret;
use crate::store::{Login, Serving, make_login, migrate};
use clock::DemoClock;
use hands::Hands;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;
use tokio::sync::oneshot;

/// Why the demo does not run.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    #[error(transparent)]
    App(#[from] AppError),
    #[error(transparent)]
    Cluster(#[from] cluster::Error),
    #[error("the scenario could not be loaded: {0}")]
    Load(String),
    #[error(
        "the command `holt` was looked for beside holtd as {0} and is not there: build it with `cargo build -p holt-cli`"
    )]
    NoClient(PathBuf),
    #[error("the demo's files cannot be written: {0}")]
    Files(#[from] std::io::Error),
    #[error("a step of the demo came out otherwise than it should: {0}")]
    Surprise(String),
}

impl From<tonic::Status> for DemoError {
    fn from(status: tonic::Status) -> Self {
        Self::Load(format!("{:?}: {}", status.code(), status.message()))
    }
}

impl From<tonic::transport::Error> for DemoError {
    fn from(error: tonic::transport::Error) -> Self {
        Self::Load(error.to_string())
    }
}

/// Runs the demo. `tell` prints a line; with `once` it ends after the journeys, otherwise it serves until
/// `stop` is done.
///
/// # Errors
/// [`DemoError`], whose message says what to do.
pub async fn run(
    config: &Config,
    around: &Surroundings,
    tell: &(dyn Fn(&str) + Sync),
    once: bool,
    stop: impl Future<Output = ()> + Send,
) -> Result<(), DemoError> {
    let mut config = config.clone();
    config.access.sign_ins_per_minute = 1000;
    config.server.strangers_calls_per_minute = 0;
    // The clock leaps from Monday to Monday; nobody should have to sign in for each of them.
    config.access.access_seconds = 60 * 24 * 3600;
    let began = Instant::now();
    let parents = [std::env::current_dir()?.join("target"), std::env::temp_dir()];
    let parent = cluster::first_open(parents).unwrap_or_else(std::env::temp_dir);
    let folder = cluster::scratch(&parent)?;
    let settings =
        Settings { path: around.path.clone(), durable: true, ephemeral: true, ..Settings::kept(folder) };
    tell("Starting a private PostgreSQL for this demo …");
    let cluster = Cluster::start(settings).await?;
    let url = Secret::new(cluster.url("holt"));
    migrate(&url).await.map_err(AppError::from)?;
    let login = Login::fresh()?;
    make_login(&url, &login).await.map_err(AppError::from)?;
    let serving = Serving { url, login: Some(login), pooled: false };
    let clock = Arc::new(DemoClock::default());
    let own = OwnKey::fresh().map_err(DemoError::Load)?;
    let house = House::over(&config, &serving, own, Arc::clone(&clock) as _, Arc::new(RandomIds)).await?;
    clock.set(load::first_instant());
    let steward = people::first_steward(&house.records)
        .await
        .ok()
        .flatten()
        .ok_or_else(|| DemoError::Load("no first steward was made".to_owned()))?;
    let listener = app::listen(&config)?;
    let address = format!("http://{}", listener.local_addr()?);
    let (quit, quitting) = oneshot::channel::<()>();
    let serving = house.serve(&config, listener, async {
        let _ = quitting.await;
    });
    let story = async {
        let home = tempdir(&parent)?;
        let loaded = load::load(&address, &clock, &steward, tell).await?;
        clock.follow_the_machine();
        tell(&format!("Ready after {:.1} s: {loaded}.\n", began.elapsed().as_secs_f64()));
        let hands = Hands::new(&address, &home)?;
        journeys::run(&hands, tell).await?;
        if !once {
            tell(&hands.invitation());
            stop.await;
        }
        std::fs::remove_dir_all(&home)?;
        let _ = quit.send(());
        Ok::<(), DemoError>(())
    };
    let (served, told) = tokio::join!(serving, story);
    cluster.stop().await?;
    told?;
    Ok(served?)
}

/// A folder for the profiles of the demo's people.
fn tempdir(parent: &std::path::Path) -> Result<PathBuf, DemoError> {
    let folder = parent.join(format!("holt-demo-{:016x}", rand::random::<u64>()));
    std::fs::create_dir_all(&folder)?;
    Ok(folder)
}
