//! The two doors.

use crate::access::permit::leave::Sealed;
use crate::access::permit::{Bearer, Leave, Permit, Reach, Scope, Validity};
use crate::access::roles::Deed;
use crate::clock::{Clock, Ids};
use crate::error::Error;
use crate::model::request::Request;
use crate::model::site::Site;
use crate::model::unreadable::Unreadables;
use crate::rows::Replaced;
use crate::turns::{Turn, Turns};
use crate::{ledger, sites};
use backon::{BackoffBuilder, ExponentialBuilder};
use chrono::{DateTime, TimeZone, Utc};
use sea_orm::{
    ConnectionTrait, DatabaseConnection, DatabaseTransaction, DbBackend, FromQueryResult, Statement,
    TransactionTrait, Value,
};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::collections::HashMap;
use std::ops::Deref;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// How often a write that lost a race is tried again.
const TRIES: usize = 6;

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

/// One instant of the database, as the caller may see it.
pub struct Snapshot {
    txn: DatabaseTransaction,
    known_at: DateTime<Utc>,
    /// Where what cannot be read is noted; none where nothing may be left out.
    pub(super) unreadable: Option<Unreadables>,
}

/// Entries on their way under a seal.
pub(super) struct Sealing(Snapshot);

/// A write in progress. Dropped without [`Tx::commit`], it leaves nothing behind.
#[must_use]
pub struct Tx {
    snapshot: Snapshot,
    ids: Arc<dyn Ids>,
    now: DateTime<Utc>,
    bearer: Bearer,
    request: Request,
    site: Option<Uuid>,
    lines: Vec<serde_json::Value>,
    /// Of animals with several records: for which of these the fact was entered that another is to replace.
    pub(super) replaced: Replaced,
    /// Last: the next copy of the request comes in when this write is over.
    turn: Turn,
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
    pub(super) async fn gate(&self) -> Result<DatabaseTransaction, Error> {
        Ok(self.unrecorded(&Scope::gate()).await?.txn)
    }

    /// The way in for the sealer. Leaves no ledger entry: what it writes is about entries.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub(super) async fn sealing(&self) -> Result<Sealing, Error> {
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

    /// The site of a code.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn site(&self, code: &str) -> Result<Option<Site>, Error> {
        if let Some(site) = self.known(code) {
            return Ok(Some(site));
        }
        self.sites().await?;
        Ok(self.known(code))
    }

    /// All sites by code.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn sites(&self) -> Result<Vec<Site>, Error> {
        let snapshot = self.read(&itself(), None).await?;
        let mut all = sites::all(&snapshot).await?;
        all.sort_by(|a, b| a.code.cmp(&b.code));
        let mut directory = self.directory.write().unwrap_or_else(PoisonError::into_inner);
        *directory = all.iter().map(|site| (site.code.clone(), site.clone())).collect();
        Ok(all)
    }

    /// The site of an identifier.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn site_of(&self, id: Uuid) -> Result<Option<Site>, Error> {
        let known = || {
            let directory = self.directory.read().unwrap_or_else(PoisonError::into_inner);
            directory.values().find(|site| site.id == id).cloned()
        };
        if let Some(site) = known() {
            return Ok(Some(site));
        }
        self.sites().await?;
        Ok(known())
    }

    fn known(&self, code: &str) -> Option<Site> {
        self.directory.read().unwrap_or_else(PoisonError::into_inner).get(code).cloned()
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

impl Snapshot {
    /// Sets scope and time limit, looks whether the person's epoch is still the one given, and for the answer to a
    /// request that was answered before.
    async fn open(
        &self,
        scope: &Scope,
        limit: Duration,
        request: Option<(Uuid, Uuid)>,
        epoch: Option<i64>,
    ) -> Result<Option<(Vec<u8>, serde_json::Value)>, Error> {
        let (person, request) = request.unzip();
        #[derive(FromQueryResult)]
        struct Answered {
            ended: bool,
            digest: Option<Vec<u8>>,
            reply: Option<serde_json::Value>,
        }
        let rows = self
            .rows::<Answered>(
                "SELECT ended, digest, reply FROM holt_open($1, $2, $3, $4, $5, $6, $7, $8, $9)",
                [
                    scope.sites.clone().into(),
                    scope.everywhere.into(),
                    scope.gate.into(),
                    scope.person.into(),
                    // 0 would mean no limit at all.
                    i64::try_from(limit.as_millis()).unwrap_or(i64::MAX).max(1).into(),
                    person.into(),
                    request.into(),
                    self.known_at.into(),
                    epoch.into(),
                ],
            )
            .await?;
        match rows.into_iter().next() {
            Some(row) if row.ended => Err(Error::Ended),
            row => Ok(row.and_then(|row| row.digest.zip(row.reply))),
        }
    }

    /// Asks the database whether the person still has the roles that leave for some deeds rests on.
    async fn ask_again(&self, leave: &impl Leave) -> Result<(), Error> {
        let (deed, bearer) = (leave.deed(), leave.bearer());
        if !deed.is_asked_again() || !matches!(bearer.validity, Validity::Epoch(_)) {
            return Ok(());
        }
        #[derive(FromQueryResult)]
        struct Granted {
            site_id: Option<Uuid>,
        }
        let roles: Vec<String> = deed.roles().iter().map(|role| role.as_str().to_owned()).collect();
        let granted = self
            .rows::<Granted>(
                "SELECT site_id FROM grants WHERE person_id = $1 AND role = ANY ($2) AND superseded_at IS NULL",
                [bearer.person.into(), roles.into()],
            )
            .await?;
        let scope = leave.scope();
        let covered = |site| granted.iter().any(|grant| grant.site_id.is_none() || grant.site_id == site);
        if (scope.everywhere && !covered(None)) || !scope.sites.iter().all(|site| covered(Some(*site))) {
            return Err(Error::Ended);
        }
        Ok(())
    }

    /// What was known at this instant is what is read.
    #[must_use]
    pub const fn known_at(&self) -> DateTime<Utc> {
        self.known_at
    }

    pub(super) const fn txn(&self) -> &DatabaseTransaction {
        &self.txn
    }

    /// Rows of a query, each read into a struct of its columns.
    pub(super) async fn rows<R: FromQueryResult>(
        &self,
        sql: &str,
        values: impl IntoIterator<Item = Value>,
    ) -> Result<Vec<R>, Error> {
        let rows = self.txn.query_all_raw(statement(sql, values)).await?;
        Ok(rows.iter().map(|row| R::from_query_result(row, "")).collect::<Result<_, _>>()?)
    }
}

/// The rows of a query in portions, for tables that no memory holds.
pub(super) struct Portions<'s> {
    snapshot: &'s Snapshot,
    /// A name for each query: what a name fetches is prepared once.
    name: &'static str,
}

impl Snapshot {
    /// Opens a query, to be read in portions under a name of its own.
    pub(super) async fn portions(
        &self,
        name: &'static str,
        sql: &str,
        values: impl IntoIterator<Item = Value>,
    ) -> Result<Portions<'_>, Error> {
        let sql = format!("DECLARE portions_of_{name} NO SCROLL CURSOR FOR {sql}");
        self.txn.execute_raw(statement(&sql, values)).await?;
        Ok(Portions { snapshot: self, name })
    }
}

impl Portions<'_> {
    /// The next portion; empty at the end.
    pub(super) async fn next<R: FromQueryResult>(&self) -> Result<Vec<R>, Error> {
        let rows = self.snapshot.rows(&format!("FETCH 2000 FROM portions_of_{}", self.name), []).await?;
        if rows.is_empty() {
            let close = format!("CLOSE portions_of_{}", self.name);
            self.snapshot.txn.execute_raw(statement(&close, [])).await?;
        }
        Ok(rows)
    }
}

pub(super) fn statement(sql: &str, values: impl IntoIterator<Item = Value>) -> Statement {
    Statement::from_sql_and_values(DbBackend::Postgres, sql, values)
}

impl Deref for Sealing {
    type Target = Snapshot;

    fn deref(&self) -> &Snapshot {
        &self.0
    }
}

impl Sealing {
    pub(super) async fn execute(
        &self,
        sql: &str,
        values: impl IntoIterator<Item = Value>,
    ) -> Result<u64, Error> {
        Ok(self.txn().execute_raw(statement(sql, values)).await?.rows_affected())
    }

    pub(super) async fn commit(self) -> Result<(), Error> {
        Ok(self.0.txn.commit().await?)
    }
}

impl Deref for Tx {
    type Target = Snapshot;

    fn deref(&self) -> &Snapshot {
        &self.snapshot
    }
}

impl Tx {
    /// When this write is recorded: one instant for all of it.
    #[must_use]
    pub const fn now(&self) -> DateTime<Utc> {
        self.now
    }

    /// Who writes.
    #[must_use]
    pub const fn person(&self) -> Uuid {
        self.bearer.person
    }

    /// The request that this write answers.
    #[must_use]
    pub const fn request_id(&self) -> Uuid {
        self.request.id
    }

    /// A new identifier.
    #[must_use]
    pub fn new_id(&self) -> Uuid {
        self.ids.next()
    }

    /// Narrows a write that was begun under a reach, for what is meant had to be found first, to the one site that
    /// it is for.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn narrow(&mut self, permit: &Permit) -> Result<(), Error> {
        self.site = Some(permit.site().id);
        let sites = permit.scope().sites;
        self.execute("SELECT holt_narrow($1)", [sites.into()]).await?;
        Ok(())
    }

    /// A site that is made by this very write: no permit could name it before.
    pub(super) const fn of_new_site(&mut self, site: Uuid) {
        self.site = Some(site);
    }

    /// The writer's own sign-ins end with this write, which goes on.
    pub(super) const fn outlive(&mut self, epoch: i64) {
        if let Validity::Epoch(_) = self.bearer.validity {
            self.bearer.validity = Validity::Epoch(epoch);
        }
    }

    pub(super) fn note_line(&mut self, line: serde_json::Value) {
        self.lines.push(line);
    }

    pub(super) async fn execute(
        &self,
        sql: &str,
        values: impl IntoIterator<Item = Value>,
    ) -> Result<u64, Error> {
        Ok(self.txn().execute_raw(statement(sql, values)).await?.rows_affected())
    }

    /// Ends the write: the ledger entry, the reply kept for a repeat, and the commit. Answers the reply.
    /// Where only a check was asked for, everything is rolled back instead.
    ///
    /// # Errors
    /// [`Error::Contention`] where the same request was answered meanwhile; [`Error::TimedOut`] where the
    /// deadline has passed; [`Error::Ended`] where the caller's sign-in ended meanwhile; [`Error::Lost`] where the
    /// database went away.
    pub async fn commit<R: Serialize + Send>(self, reply: R) -> Result<R, Error> {
        if self.request.validate_only {
            self.snapshot.txn.rollback().await?;
            return Ok(reply);
        }
        // The time limit of the database is one of each statement. Who was told that it is too late should not
        // find it done.
        if self.bearer.deadline.is_some_and(|until| Instant::now() >= until) {
            self.snapshot.txn.rollback().await?;
            return Err(Error::TimedOut);
        }
        let Self { snapshot, ids, now, bearer, request, site, lines, turn, replaced: _ } = self;
        let Bearer { person, validity, .. } = bearer;
        let epoch = match validity {
            Validity::Epoch(epoch) => Some(epoch),
            Validity::Always | Validity::Until(_) => None,
        };
        let entry = ledger::Entry {
            id: ids.next(),
            site,
            person,
            request: request.id,
            method: request.method.to_owned(),
            at: now,
            lines: lines.into(),
        };
        let leaf = entry.leaf().as_bytes().to_vec();
        let kept = snapshot
            .txn
            .execute_raw(statement(
                "WITH entry AS (
                   INSERT INTO ledger (id, site_id, person_id, request_id, method, recorded_at, lines)
                   VALUES ($1, $2, $3, $4, $5, $6, $7)
                 ), leaf AS (
                   INSERT INTO leaves (entry_id, site_id, recorded_at, leaf) VALUES ($1, $2, $6, $8))
                 INSERT INTO requests (person_id, id, digest, reply, recorded_at)
                 SELECT $3, $4, $9::bytea, $10::jsonb, $6 WHERE holt_valid($3, $11::bigint)",
                [
                    entry.id.into(),
                    site.into(),
                    person.into(),
                    request.id.into(),
                    entry.method.into(),
                    now.into(),
                    entry.lines.into(),
                    leaf.into(),
                    request.digest.to_vec().into(),
                    serde_json::to_value(&reply)?.into(),
                    epoch.into(),
                ],
            ))
            .await?;
        if kept.rows_affected() == 0 {
            snapshot.txn.rollback().await?;
            return Err(Error::Ended);
        }
        snapshot.txn.commit().await?;
        drop(turn);
        Ok(reply)
    }
}

/// What a write may answer instead of its reply.
pub trait Raced {
    /// Whether the write lost a race and may go well when it is tried again.
    fn lost_race(&self) -> bool;
}

/// Runs a write, and runs it again where it lost a race: with pauses that grow and differ, a bounded
/// number of times. The block may run more than once: it talks to its transaction and nothing else.
///
/// # Errors
/// What the block answers; the last race where every try lost one.
pub async fn retrying<R, E, F>(write: &'static str, mut attempt: impl FnMut() -> F + Send) -> Result<R, E>
where
    E: Raced,
    F: Future<Output = Result<R, E>> + Send,
{
    let mut pauses = ExponentialBuilder::default()
        .with_min_delay(Duration::from_millis(5))
        .with_max_delay(Duration::from_millis(500))
        .with_max_times(TRIES)
        .with_jitter()
        .build();
    loop {
        let answer = attempt().await;
        if !answer.as_ref().is_err_and(Raced::lost_race) {
            return answer;
        }
        let Some(pause) = pauses.next() else { return answer };
        tracing::debug!(write, ?pause, "lost a race, trying again");
        tokio::time::sleep(pause).await;
    }
}
