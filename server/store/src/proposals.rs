//! Proposals: made, answered, listed.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{proposal, proposal_answer};
use crate::error::{Error, stored};
use crate::filter::Filter;
use crate::model::amendment::{Answer, Outcome};
use crate::model::page::{Page, Slice};
use crate::model::proposal::{Proposal, Proposed};
use chrono::{DateTime, Utc};
use sea_orm::FromQueryResult;
use serde_json::Value;
use uuid::Uuid;

/// The open proposal of the site of the permit that is the same, where there is one. Proposals come one at a time from
/// here on, so that of two that are the same at one instant the second finds the first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn open_alike(tx: &Tx, permit: &Permit, proposed: &Proposed) -> Result<Option<Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
    }
    tx.execute("SELECT holt_curate()", []).await?;
    let sql = "SELECT a.id FROM proposals a
                WHERE a.site_id = $1 AND a.change = $2::jsonb
                  AND NOT EXISTS (SELECT FROM proposal_answers n WHERE n.proposal_id = a.id)
                ORDER BY a.id LIMIT 1";
    let values = [permit.site().id.into(), serde_json::to_value(proposed)?.into()];
    Ok(tx.rows::<Row>(sql, values).await?.first().map(|row| row.id))
}

/// Records a change that the site of the permit proposes: itself, in words, and why.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(
    tx: &mut Tx,
    permit: &Permit,
    (proposed, says, because): (&Proposed, String, String),
) -> Result<Uuid, Error> {
    let id = tx.new_id();
    let row = proposal::Model {
        id,
        site_id: permit.site().id,
        change: serde_json::to_value(proposed)?,
        says,
        because,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await?;
    Ok(id)
}

/// Records what became of one.
///
/// # Errors
/// [`Error::Contention`] where somebody answered it meanwhile.
pub async fn answer(tx: &mut Tx, of: &Proposal, outcome: Outcome, note: &str) -> Result<(), Error> {
    let row = proposal_answer::Model {
        proposal_id: of.id,
        proposer_id: of.site_id,
        outcome: outcome.spoken().to_owned(),
        note: note.to_owned(),
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await
}

/// Which proposals are wanted.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted {
    pub id: Option<Uuid>,
    /// Those of one site.
    pub site: Option<Uuid>,
    /// Those alone that nobody answered yet.
    pub open_only: bool,
}

/// Proposals as known at the instant of the snapshot, the oldest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(snapshot: &Snapshot, wanted: &Wanted, page: &Page) -> Result<Slice<Proposal>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        site_id: Uuid,
        site: String,
        change: Value,
        says: String,
        because: String,
        recorded_at: DateTime<Utc>,
        recorded_by: Option<String>,
        outcome: Option<String>,
        note: Option<String>,
        answered_at: Option<DateTime<Utc>>,
        answered_by: Option<String>,
    }
    let mut filter = Filter::after([snapshot.known_at().into()]);
    filter.and("a.id = ?", wanted.id.map(|id| [id.into()]));
    filter.and("a.site_id = ?", wanted.site.map(|site| [site.into()]));
    filter.and("n.outcome IS NULL", wanted.open_only.then_some([]));
    let after: Option<Uuid> = page.after.as_deref().and_then(|key| key.parse().ok());
    filter.and("a.id > ?", after.map(|after| [after.into()]));
    let (conditions, limit, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT a.id, a.site_id, s.code AS site, a.change, a.says, a.because, a.recorded_at, p.name AS recorded_by,
                n.outcome, n.note, n.recorded_at AS answered_at, np.name AS answered_by
           FROM proposals a
           JOIN sites s ON s.id = a.site_id
           LEFT JOIN people p ON p.id = a.recorded_by
           LEFT JOIN proposal_answers n ON n.proposal_id = a.id AND n.recorded_at <= $1
           LEFT JOIN people np ON np.id = n.recorded_by
          WHERE a.recorded_at <= $1{conditions}
          ORDER BY a.id LIMIT ${limit}"
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    // Cut first: a row that is left out ends no list.
    let Slice { entries, next } = Slice::cut(rows, page, |row: &Row| row.id.to_string());
    let read = |row: Row| {
        let answer = match (row.outcome, row.answered_at) {
            (Some(outcome), Some(at)) => Some(Answer {
                outcome: stored::<Outcome>("proposal_answers", "outcome", outcome)?,
                site: String::new(),
                note: row.note.unwrap_or_default(),
                at,
                by: row.answered_by.unwrap_or_default(),
            }),
            _ => None,
        };
        Ok(Proposal {
            id: row.id,
            site: row.site,
            site_id: row.site_id,
            proposed: stored("proposals", "change", row.change)?,
            says: row.says,
            because: row.because,
            at: row.recorded_at,
            by: row.recorded_by.unwrap_or_default(),
            answer,
        })
    };
    Ok(Slice { entries: snapshot.legible("proposal", entries, |row| row.id, read)?, next })
}
