//! The two doors: for reading and for writing, opened as far as leave goes.

mod directory;
mod retrying;
mod snapshot;
mod tx;

pub use retrying::{Raced, retrying};
pub use snapshot::Snapshot;
pub(crate) use snapshot::{Sealing, statement};
pub use tx::Tx;

use crate::access::permit::leave::Sealed;
use crate::access::permit::{Bearer, Leave, Reach, Scope, Validity};
use crate::access::roles::Deed;
use crate::clock::{Clock, Ids};
use crate::error::Error;
use crate::model::request::Request;
use crate::model::site::Site;
use crate::rows::Replaced;
use crate::turns::Turns;
use chrono::{DateTime, TimeZone, Utc};
use sea_orm::{ConnectionTrait, DatabaseConnection, DatabaseTransaction, TransactionTrait};
use serde::de::DeserializeOwned;
use std::collections::HashMap;
use std::sync::{Arc, RwLock};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// How long a report waits at once for the writes that are under way: those that come meanwhile wait, too.
const SETTLES: Duration = Duration::from_secs(1);

/// The database, behind its two doors.
#[derive(Clone)]
pub struct Store {
    pool: DatabaseConnection,
    /// Whether a pooler stands between.
    pooled: bool,
    clock: Arc<dyn Clock>,
    ids: Arc<dyn Ids>,
    call_limit: Duration,
    turns: Turns,
    /// Sites by code. They are never changed or removed, so what is found here is right.
    directory: Arc<RwLock<HashMap<String, Site>>>,
}

/// What a write finds when it comes in.
pub enum Attempt<R> {
    /// The same request was answered before: this is the answer.
    Repeat(R),
    /// It was not: write.
    Fresh(Box<Tx>),
}

impl Store {
    /// A store over a pool that connects as the service role.
    pub fn new(
        pool: DatabaseConnection,
        pooled: bool,
        clock: Arc<dyn Clock>,
        ids: Arc<dyn Ids>,
        call_limit: Duration,
    ) -> Self {
        Self { pool, pooled, clock, ids, call_limit, turns: Turns::default(), directory: Arc::default() }
    }

    /// Now.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// A new identifier.
    #[must_use]
    pub fn new_id(&self) -> Uuid {
        self.ids.next()
    }

    /// The door for reading: one instant of the database, read-only, as known at an instant (now where
    /// none is given), open as far as the leave goes.
    ///
    /// # Errors
    /// [`Error::Ended`] where the caller's sign-in is; [`Error::Lost`] where the database is away.
    pub async fn read(&self, leave: &impl Leave, known_at: Option<DateTime<Utc>>) -> Result<Snapshot, Error> {
        let txn = self.begin("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY").await?;
        let unreadable = Some(leave.bearer().unreadable);
        let snapshot = Snapshot { txn, known_at: known_at.unwrap_or_else(end_of_time), unreadable };
        self.let_in(&snapshot, leave, None).await?;
        snapshot.ask_again(leave).await?;
        Ok(snapshot)
    }

    /// Looks whether whoever has leave is still let in: for what is answered without their own door.
    ///
    /// # Errors
    /// [`Error::Ended`] where their sign-in is; [`Error::Lost`] where the database is away.
    pub async fn knock(&self, leave: &impl Leave) -> Result<(), Error> {
        Ok(self.read(leave, None).await?.txn.rollback().await?)
    }

    /// The door for writing, open as far as the leave goes: a permit opens one site, whatever else the caller may.
    /// The same request id with the same content is answered with the first answer, for which a copy that comes
    /// meanwhile waits; with other content it is refused.
    ///
    /// # Errors
    /// [`Error::RequestReused`]; [`Error::Ended`] where the caller's sign-in is; [`Error::TimedOut`] where the first is
    /// still under way when the time is over; [`Error::Lost`] where the database is away.
    pub async fn write<R: DeserializeOwned>(
        &self,
        leave: &impl Leave,
        request: &Request,
    ) -> Result<Attempt<R>, Error> {
        let bearer = leave.bearer();
        // Before there is a connection: copies that wait must not hold any.
        let turn = self.turns.take((bearer.person, request.id), self.time_left(bearer.deadline)).await?;
        let txn = self.begin("").await?;
        let snapshot = Snapshot { txn, known_at: end_of_time(), unreadable: None };
        let answered = self.let_in(&snapshot, leave, Some((bearer.person, request.id))).await?;
        // One at a time: of two who take each other's role, the second no longer has one; and whoever accepts what was
        // proposed sees what was changed meanwhile.
        let alone = match leave.deed() {
            Deed::KeepPeople => Some("SELECT holt_keep_people()"),
            Deed::Curate => Some("SELECT holt_curate()"),
            _ => None,
        };
        if let Some(sql) = alone {
            snapshot.txn.execute_raw(statement(sql, [])).await?;
        }
        snapshot.ask_again(leave).await?;
        if let Some((digest, reply)) = answered {
            return if digest == request.digest {
                Ok(Attempt::Repeat(serde_json::from_value(reply)?))
            } else {
                Err(Error::RequestReused(request.id))
            };
        }
        Ok(Attempt::Fresh(Box::new(Tx {
            snapshot,
            ids: Arc::clone(&self.ids),
            now: self.clock.now(),
            bearer,
            request: *request,
            site: leave.site(),
            lines: Vec::new(),
            replaced: Replaced::new(),
            turn,
        })))
    }

    /// The instant asked about, or now, once everything is known of it: whatever is stamped earlier is
    /// committed. Reports that can be asked again as known then rest on it.
    ///
    /// # Errors
    /// [`Error::Contention`] where writes are under way that do not end soon; [`Error::Lost`] where the
    /// database is away.
    pub async fn settled(
        &self,
        deadline: Option<Instant>,
        asked: Option<DateTime<Utc>>,
    ) -> Result<DateTime<Utc>, Error> {
        // No write lasts longer than a call.
        let long_ago = self.clock.now() - self.call_limit * 2;
        if let Some(past) = asked.filter(|asked| *asked < long_ago) {
            return Ok(past);
        }
        let txn = self.begin("").await?;
        let snapshot = Snapshot { txn, known_at: end_of_time(), unreadable: None };
        let limit = self.time_left(deadline).min(SETTLES);
        snapshot.open(&itself().scope(), limit, None, None).await?;
        // Writes that come now wait, too: not for long.
        match snapshot.txn.execute_raw(statement("SELECT holt_settle()", [])).await.map_err(Error::from) {
            Ok(_) => {
                let now = self.clock.now();
                snapshot.txn.rollback().await?;
                Ok(asked.unwrap_or(now).min(now))
            }
            Err(Error::TimedOut) => Err(Error::Contention),
            Err(other) => Err(other),
        }
    }

    /// The gate: opens credentials, before there is a caller. Leaves no ledger entry; what it changes is
    /// no history.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub(crate) async fn gate(&self) -> Result<DatabaseTransaction, Error> {
        Ok(self.unrecorded(&Scope::gate()).await?.txn)
    }

    /// The way in for the sealer. Leaves no ledger entry: what it writes is about entries.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub(crate) async fn sealing(&self) -> Result<Sealing, Error> {
        Ok(Sealing(self.unrecorded(&itself().scope()).await?))
    }

    /// Begins a transaction. Behind a pooler it may be on a connection on which others have prepared statements
    /// under the names that sqlx gives ours.
    async fn begin(&self, also: &str) -> Result<DatabaseTransaction, Error> {
        let txn = self.pool.begin().await?;
        // What says how the transaction runs comes before anything that runs in it.
        let first = if self.pooled { format!("{also}; DEALLOCATE ALL") } else { also.to_owned() };
        if !first.is_empty() {
            txn.execute_unprepared(&first).await?;
        }
        Ok(txn)
    }

    async fn unrecorded(&self, scope: &Scope) -> Result<Snapshot, Error> {
        let txn = self.begin("").await?;
        let snapshot = Snapshot { txn, known_at: end_of_time(), unreadable: None };
        snapshot.open(scope, self.call_limit, None, None).await?;
        Ok(snapshot)
    }

    /// Opens a door for whoever has leave, unless what they show has ended.
    async fn let_in(
        &self,
        snapshot: &Snapshot,
        leave: &impl Leave,
        request: Option<(Uuid, Uuid)>,
    ) -> Result<Option<(Vec<u8>, serde_json::Value)>, Error> {
        let Bearer { deadline, validity, .. } = leave.bearer();
        let epoch = match validity {
            Validity::Always => None,
            Validity::Epoch(epoch) => Some(epoch),
            Validity::Until(end) if end <= self.clock.now() => return Err(Error::Ended),
            Validity::Until(_) => None,
        };
        snapshot.open(&leave.scope(), self.time_left(deadline), request, epoch).await
    }

    /// Closes the pool; what is under way fails.
    pub async fn close(&self) {
        // The pool is shared by clones of the store, so it is closed by reference.
        if let Err(error) = self.pool.clone().close().await {
            tracing::warn!(%error, "the pool did not close");
        }
    }

    /// Whether the database answers.
    pub async fn answers(&self) -> bool {
        self.pool.ping().await.is_ok()
    }

    fn time_left(&self, deadline: Option<Instant>) -> Duration {
        deadline.map_or(self.call_limit, |deadline| {
            deadline.saturating_duration_since(Instant::now()).min(self.call_limit)
        })
    }
}

/// Leave of Holt itself: for the directory of sites, and for the ledger, whose hashes tell nothing.
fn itself() -> Reach {
    Reach::of_holt()
}

/// Later than anything was recorded: a read as known now.
fn end_of_time() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(9999, 12, 31, 0, 0, 0).single().unwrap_or(DateTime::<Utc>::MAX_UTC)
}
