//! The tokens of a sign-in, kept per server in a file of mode 0600.

use crate::failure::Failure;
use crate::places;
use chrono::{DateTime, Utc};
use holt_proto::time;
use holt_proto::v1;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs::{File, TryLockError};
use std::io;
use std::path::PathBuf;
use std::time::Duration;

/// Between two looks whether the lock is free.
const LOOK: Duration = Duration::from_millis(20);

/// The tokens of one sign-in.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Kept {
    pub(crate) access: String,
    pub(crate) access_expires_at: DateTime<Utc>,
    pub(crate) refresh: String,
}

impl TryFrom<v1::Tokens> for Kept {
    type Error = Failure;

    fn try_from(tokens: v1::Tokens) -> Result<Self, Failure> {
        let expires = tokens.access_expires_at.and_then(|at| time::instant(at).ok());
        Ok(Self {
            access: tokens.access_token,
            access_expires_at: expires
                .ok_or_else(|| Failure::machine("the server's tokens do not say when they expire", ""))?,
            refresh: tokens.refresh_token,
        })
    }
}

type ByServer = BTreeMap<String, Kept>;

/// Where the tokens for one server are kept.
#[derive(Clone, Debug)]
pub(crate) struct Keep {
    folder: PathBuf,
    server: String,
}

/// Held while tokens are exchanged: a refresh token can be spent once, and two commands at the same time
/// must not both spend it.
pub(crate) struct Held(#[expect(dead_code, reason = "dropping it gives the lock back")] File);

impl Keep {
    pub(crate) fn new(folder: PathBuf, server: &str) -> Self {
        Self { folder, server: server.to_owned() }
    }

    pub(crate) fn file(&self) -> PathBuf {
        self.folder.join("sign-in.toml")
    }

    /// The tokens for the server, if somebody is signed in.
    pub(crate) fn load(&self) -> Result<Option<Kept>, Failure> {
        Ok(self.all()?.remove(&self.server))
    }

    /// Keeps the tokens for the server in place of what was there; forgets them where there are none.
    pub(crate) fn save(&self, _held: &Held, tokens: Option<Kept>) -> Result<(), Failure> {
        let mut all = self.all()?;
        match tokens {
            Some(tokens) => all.insert(self.server.clone(), tokens),
            None => all.remove(&self.server),
        };
        let text = toml::to_string(&all).map_err(|error| Failure::machine(error.to_string(), ""))?;
        places::replace(&self.file(), &text).map_err(|error| self.unusable(&error))
    }

    /// Waits until no other command exchanges tokens.
    pub(crate) async fn lock(&self, patience: Duration) -> Result<Held, Failure> {
        let path = self.folder.join("sign-in.lock");
        places::make_folder(&self.folder).map_err(|error| self.unusable(&error))?;
        let mut options = File::options();
        options.create(true).truncate(false).write(true);
        let file = options.open(&path).map_err(|error| Failure::file("the lock", &path, &error))?;
        let give_up = tokio::time::Instant::now() + patience;
        loop {
            match file.try_lock() {
                Ok(()) => return Ok(Held(file)),
                Err(TryLockError::WouldBlock) if tokio::time::Instant::now() < give_up => {
                    tokio::time::sleep(LOOK).await;
                }
                Err(TryLockError::WouldBlock) => {
                    return Err(Failure::no_answer(
                        "another command has been renewing your sign-in for too long",
                        "see whether a `holt` hangs, and try again",
                    ));
                }
                Err(TryLockError::Error(error)) => return Err(Failure::file("the lock", &path, &error)),
            }
        }
    }

    fn all(&self) -> Result<ByServer, Failure> {
        match std::fs::read_to_string(self.file()) {
            // What is wrong with the file is not told: the message would show a part of a token.
            Ok(text) => toml::from_str(&text).map_err(|_| {
                Failure::machine(
                    format!("{} does not hold the tokens of a sign-in", self.file().display()),
                    "delete it and sign in again: `holt sign-in NAME`",
                )
            }),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(ByServer::new()),
            Err(error) => Err(self.unusable(&error)),
        }
    }

    fn unusable(&self, error: &io::Error) -> Failure {
        Failure::file("the file of your sign-in,", &self.file(), error)
    }
}
