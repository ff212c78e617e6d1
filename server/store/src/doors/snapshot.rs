//! What is read: one instant of the database, as far as a scope goes.

use crate::access::permit::{Leave, Scope, Validity};
use crate::error::Error;
use crate::model::unreadable::Unreadables;
use chrono::{DateTime, Utc};
use sea_orm::{ConnectionTrait, DatabaseTransaction, DbBackend, FromQueryResult, Statement, Value};
use std::ops::Deref;
use std::time::Duration;
use uuid::Uuid;

/// One instant of the database, as the caller may see it.
pub struct Snapshot {
    pub(super) txn: DatabaseTransaction,
    pub(super) known_at: DateTime<Utc>,
    /// Where what cannot be read is noted; none where nothing may be left out.
    pub(crate) unreadable: Option<Unreadables>,
}

/// Entries on their way under a seal.
pub(crate) struct Sealing(pub(super) Snapshot);

impl Snapshot {
    /// Sets scope and time limit, looks whether the person's epoch is still the one given, and for the answer to a
    /// request that was answered before.
    pub(super) async fn open(
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
    pub(super) async fn ask_again(&self, leave: &impl Leave) -> Result<(), Error> {
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

    pub(crate) const fn txn(&self) -> &DatabaseTransaction {
        &self.txn
    }

    /// Rows of a query, each read into a struct of its columns.
    pub(crate) async fn rows<R: FromQueryResult>(
        &self,
        sql: &str,
        values: impl IntoIterator<Item = Value>,
    ) -> Result<Vec<R>, Error> {
        let rows = self.txn.query_all_raw(statement(sql, values)).await?;
        Ok(rows.iter().map(|row| R::from_query_result(row, "")).collect::<Result<_, _>>()?)
    }
}

/// The rows of a query in portions, for tables that no memory holds.
pub(crate) struct Portions<'s> {
    snapshot: &'s Snapshot,
    /// A name for each query: what a name fetches is prepared once.
    name: &'static str,
}

impl Snapshot {
    /// Opens a query, to be read in portions under a name of its own.
    pub(crate) async fn portions(
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
    pub(crate) async fn next<R: FromQueryResult>(&self) -> Result<Vec<R>, Error> {
        let rows = self.snapshot.rows(&format!("FETCH 2000 FROM portions_of_{}", self.name), []).await?;
        if rows.is_empty() {
            let close = format!("CLOSE portions_of_{}", self.name);
            self.snapshot.txn.execute_raw(statement(&close, [])).await?;
        }
        Ok(rows)
    }
}

pub(crate) fn statement(sql: &str, values: impl IntoIterator<Item = Value>) -> Statement {
    Statement::from_sql_and_values(DbBackend::Postgres, sql, values)
}

impl Deref for Sealing {
    type Target = Snapshot;

    fn deref(&self) -> &Snapshot {
        &self.0
    }
}

impl Sealing {
    pub(crate) async fn execute(
        &self,
        sql: &str,
        values: impl IntoIterator<Item = Value>,
    ) -> Result<u64, Error> {
        Ok(self.txn().execute_raw(statement(sql, values)).await?.rows_affected())
    }

    pub(crate) async fn commit(self) -> Result<(), Error> {
        Ok(self.0.txn.commit().await?)
    }
}
