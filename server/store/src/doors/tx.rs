//! A write: under way, and its end.

use super::snapshot::{Snapshot, statement};
use crate::access::permit::leave::Sealed;
use crate::access::permit::{Bearer, Permit, Validity};
use crate::clock::Ids;
use crate::error::Error;
use crate::ledger;
use crate::model::request::Request;
use crate::rows::Replaced;
use crate::turns::Turn;
use chrono::{DateTime, Utc};
use sea_orm::{ConnectionTrait, Value};
use serde::Serialize;
use std::ops::Deref;
use std::sync::Arc;
use std::time::Instant;
use uuid::Uuid;

/// A write in progress. Dropped without [`Tx::commit`], it leaves nothing behind.
#[must_use]
pub struct Tx {
    pub(super) snapshot: Snapshot,
    pub(super) ids: Arc<dyn Ids>,
    pub(super) now: DateTime<Utc>,
    pub(super) bearer: Bearer,
    pub(super) request: Request,
    pub(super) site: Option<Uuid>,
    pub(super) lines: Vec<serde_json::Value>,
    /// Of animals with several records: for which of these the fact was entered that another is to replace.
    pub(crate) replaced: Replaced,
    /// Last: the next copy of the request comes in when this write is over.
    pub(super) turn: Turn,
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
    pub(crate) const fn of_new_site(&mut self, site: Uuid) {
        self.site = Some(site);
    }

    /// The writer's own sign-ins end with this write, which goes on.
    pub(crate) const fn outlive(&mut self, epoch: i64) {
        if let Validity::Epoch(_) = self.bearer.validity {
            self.bearer.validity = Validity::Epoch(epoch);
        }
    }

    pub(crate) fn note_line(&mut self, line: serde_json::Value) {
        self.lines.push(line);
    }

    pub(crate) async fn execute(
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
            // What the database looks at as a write ends, it would not look at now.
            self.execute("SET CONSTRAINTS ALL IMMEDIATE", []).await?;
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
