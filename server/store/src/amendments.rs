//! Amendments: proposed, answered, listed.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{amendment, amendment_answer};
use crate::error::{Error, stored};
use crate::filter::Filter;
use crate::model::amendment::{Amendment, Answer, Kind, New, Outcome};
use crate::model::animal::Label;
use crate::model::page::{Page, Slice};
use chrono::{DateTime, Utc};
use sea_orm::FromQueryResult;
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

/// The word that a kind or an outcome is stored as.
fn word(value: impl Serialize) -> Result<String, Error> {
    match serde_json::to_value(value)? {
        Value::String(word) => Ok(word),
        other => Err(Error::Fault(format!("{other} is not a word"))),
    }
}

/// Whether the site of a permit ever held or owned an animal.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn knew(snapshot: &Snapshot, permit: &Permit, animal: Uuid) -> Result<bool, Error> {
    #[derive(FromQueryResult)]
    struct Knew {
        knew: bool,
    }
    let sql = "SELECT holt_knew($1, $2) AS knew";
    let rows = snapshot.rows::<Knew>(sql, [animal.into(), permit.site().id.into()]).await?;
    Ok(rows.first().is_some_and(|row| row.knew))
}

/// Records a change that the site of the permit proposes.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(tx: &mut Tx, permit: &Permit, new: New) -> Result<Uuid, Error> {
    let id = tx.new_id();
    let row = amendment::Model {
        id,
        animal_id: new.animal,
        site_id: permit.site().id,
        kind: word(new.kind)?,
        fact_id: new.fact,
        asked_id: new.asked,
        change: new.change,
        says: new.says,
        because: new.because,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await?;
    Ok(id)
}

/// Has whoever else answers this one wait until the write ends, and then see the answer.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn hold(tx: &Tx, id: Uuid) -> Result<(), Error> {
    tx.execute("SELECT pg_advisory_xact_lock(hashtextextended($1::text, 0))", [id.into()]).await?;
    Ok(())
}

/// Records what became of one. Before the change itself is made: that it is accepted is what lets the holder move
/// what the other site recorded with it.
///
/// # Errors
/// [`Error::Contention`] where somebody answered it meanwhile.
pub async fn answer(
    tx: &mut Tx,
    permit: &Permit,
    of: &Standing,
    outcome: Outcome,
    note: &str,
) -> Result<(), Error> {
    let row = amendment_answer::Model {
        amendment_id: of.amendment.id,
        animal_id: of.amendment.animal.id,
        proposer_id: of.proposer,
        outcome: word(outcome)?,
        site_id: permit.site().id,
        note: note.to_owned(),
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await
}

/// An amendment, who proposed it, and who is asked where that is not whoever holds the animal.
pub struct Standing {
    pub amendment: Amendment,
    pub proposer: Uuid,
    pub asked: Option<Uuid>,
}

/// Which amendments are wanted.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted {
    pub id: Option<Uuid>,
    pub animal: Option<Uuid>,
    /// Those that ask this site.
    pub asked: Option<Uuid>,
    /// Those alone that nobody answered yet.
    pub open_only: bool,
}

/// Amendments that the site of the permit proposed, answered, or has to answer, as known at the instant of the
/// snapshot; the animals of them without their names.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: &Wanted,
    page: &Page,
) -> Result<Slice<Standing>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        site_id: Uuid,
        site: String,
        kind: String,
        fact_id: Option<Uuid>,
        asked_id: Option<Uuid>,
        asked: Option<String>,
        change: Value,
        says: String,
        because: String,
        recorded_at: DateTime<Utc>,
        recorded_by: Option<String>,
        outcome: Option<String>,
        answered_site: Option<String>,
        note: Option<String>,
        answered_at: Option<DateTime<Utc>>,
        answered_by: Option<String>,
    }
    let mut filter = Filter::after([permit.site().id.into(), snapshot.known_at().into()]);
    filter.and("a.id = ?", wanted.id.map(|id| [id.into()]));
    filter.and("a.animal_id = ?", wanted.animal.map(|animal| [animal.into()]));
    filter.and("a.asked_id = ?", wanted.asked.map(|site| [site.into()]));
    filter.and("n.outcome IS NULL", wanted.open_only.then_some([]));
    let after: Option<Uuid> = page.after.as_deref().and_then(|key| key.parse().ok());
    filter.and("a.id > ?", after.map(|after| [after.into()]));
    let (conditions, limit, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT a.id, a.animal_id, a.site_id, s.code AS site, a.kind, a.fact_id, a.asked_id, sa.code AS asked, a.change,
                a.says, a.because, a.recorded_at, p.name AS recorded_by, n.outcome, ns.code AS answered_site, n.note,
                n.recorded_at AS answered_at, np.name AS answered_by
           FROM amendments a
           JOIN sites s ON s.id = a.site_id
           LEFT JOIN sites sa ON sa.id = a.asked_id
           -- The other site's people are nobody's business.
           LEFT JOIN people p ON p.id = a.recorded_by AND a.site_id = $1
           LEFT JOIN amendment_answers n ON n.amendment_id = a.id AND n.recorded_at <= $2
           LEFT JOIN sites ns ON ns.id = n.site_id
           LEFT JOIN people np ON np.id = n.recorded_by AND n.site_id = $1
          WHERE a.recorded_at <= $2
            AND (a.site_id = $1 OR n.site_id = $1 OR a.asked_id = $1 OR holt_answers(a.animal_id) = $1){conditions}
          ORDER BY a.id LIMIT ${limit}"
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let standing = rows.into_iter().map(|row| {
        let answer = match (row.outcome, row.answered_at) {
            (Some(outcome), Some(at)) => Some(Answer {
                outcome: stored::<Outcome>("amendment_answers", "outcome", outcome)?,
                site: row.answered_site.unwrap_or_default(),
                note: row.note.unwrap_or_default(),
                at,
                by: row.answered_by.unwrap_or_default(),
            }),
            _ => None,
        };
        let amendment = Amendment {
            id: row.id,
            animal: Label { id: row.animal_id, accession: String::new(), house_name: String::new() },
            site: row.site,
            kind: stored::<Kind>("amendments", "kind", row.kind)?,
            fact: row.fact_id,
            asked: row.asked.unwrap_or_default(),
            change: row.change,
            says: row.says,
            because: row.because,
            at: row.recorded_at,
            by: row.recorded_by.unwrap_or_default(),
            answer,
        };
        Ok(Standing { amendment, proposer: row.site_id, asked: row.asked_id })
    });
    let standing = standing.collect::<Result<Vec<_>, Error>>()?;
    Ok(Slice::cut(standing, page, |one: &Standing| one.amendment.id.to_string()))
}
