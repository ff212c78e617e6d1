//! Protocols, and assessments made by them.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{assessment, protocol};
use crate::error::Error;
use crate::facts::{fact, known};
use crate::model::animal::Label;
use crate::model::assessment::{Assessment, Finding};
use crate::model::page::{Page, Slice};
use crate::weights::{Wanted, label, moment};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::welfare::Protocol;
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder};
use uuid::Uuid;

/// A version of a protocol on record.
#[derive(Clone, Debug)]
pub struct Kept {
    pub id: Uuid,
    pub protocol: Protocol,
}

fn kept(row: protocol::Model) -> Result<Kept, Error> {
    let protocol = serde_json::from_value(row.content)
        .map_err(|error| Error::corrupt("protocols", "content", &error))?;
    Ok(Kept { id: row.id, protocol })
}

/// All versions of all protocols.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn protocols(snapshot: &Snapshot) -> Result<Vec<Kept>, Error> {
    let rows = protocol::Entity::find()
        .order_by_asc(protocol::Column::Code)
        .order_by_asc(protocol::Column::Version)
        .all(snapshot.txn())
        .await?;
    rows.into_iter().map(kept).collect()
}

/// A version of a protocol.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn protocol(snapshot: &Snapshot, code: &str, version: i32) -> Result<Option<Kept>, Error> {
    let wanted = protocol::Entity::find()
        .filter(protocol::Column::Code.eq(code))
        .filter(protocol::Column::Version.eq(version));
    wanted.one(snapshot.txn()).await?.map(kept).transpose()
}

/// Keeps a version of a protocol, for all sites or for one.
///
/// # Errors
/// [`Error::Broken`] where the version is taken.
pub async fn insert_protocol(tx: &mut Tx, protocol: &Protocol, site: Option<Uuid>) -> Result<Kept, Error> {
    let row = protocol::Model {
        id: tx.new_id(),
        code: protocol.code.clone(),
        version: i32::try_from(protocol.version).unwrap_or(i32::MAX),
        content: serde_json::to_value(protocol)?,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
        site_id: site,
    };
    tx.insert(std::slice::from_ref(&row)).await?;
    kept(row)
}

/// An assessment to keep.
pub struct NewRow<'a> {
    pub animal: Uuid,
    pub protocol: Uuid,
    pub at: DateTime<Utc>,
    pub on: NaiveDate,
    pub findings: &'a [Finding],
    pub note: &'a str,
}

/// Keeps an assessment.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(tx: &mut Tx, permit: &Permit, new: NewRow<'_>) -> Result<Uuid, Error> {
    let id = tx.new_id();
    let row = fact!(
        tx,
        assessment::Model {
            id: id,
            animal_id: new.animal,
            site_id: permit.site().id,
            protocol_id: new.protocol,
            assessed_at: new.at,
            assessed_on: new.on,
            findings: serde_json::to_value(new.findings)?,
            note: new.note.to_owned(),
        }
    );
    tx.insert(&[row]).await?;
    Ok(id)
}

/// Assessments, newest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(snapshot: &Snapshot, wanted: &Wanted, page: &Page) -> Result<Slice<Assessment>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        site: String,
        protocol: String,
        version: i32,
        assessed_at: DateTime<Utc>,
        observer: Option<String>,
        observer_id: Uuid,
        findings: serde_json::Value,
        note: String,
        accession: Option<String>,
        house_name: Option<String>,
    }
    let after = page.after.as_deref().and_then(moment);
    let (filter, last, values) = wanted.filter(snapshot, "assessed", after).then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT w.id, w.animal_id, s.code AS site, p.code AS protocol, p.version, w.assessed_at,
                o.name AS observer, w.recorded_by AS observer_id, w.findings, w.note, {label}
           FROM assessments w JOIN sites s ON s.id = w.site_id JOIN protocols p ON p.id = w.protocol_id
           LEFT JOIN people o ON o.id = w.recorded_by
          WHERE {known_w}{filter} ORDER BY w.assessed_at DESC, w.id DESC LIMIT ${last}",
        known_w = known("w", 1),
        label = label("w", 1),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let assessments = rows
        .into_iter()
        .map(|row| {
            Ok(Assessment {
                id: row.id,
                site: row.site,
                animal: Label {
                    id: row.animal_id,
                    accession: row.accession.unwrap_or_default(),
                    house_name: row.house_name.unwrap_or_default(),
                },
                protocol: row.protocol,
                protocol_version: row.version,
                assessed_at: row.assessed_at,
                observer: row.observer.unwrap_or_default(),
                observer_id: row.observer_id,
                findings: serde_json::from_value(row.findings)
                    .map_err(|error| Error::corrupt("assessments", "findings", &error))?,
                note: row.note,
            })
        })
        .collect::<Result<Vec<_>, Error>>()?;
    Ok(Slice::cut(assessments, page, |one| format!("{} {}", one.assessed_at.to_rfc3339(), one.id)))
}

/// Days on which these animals were assessed: record, animal, day.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn days(
    snapshot: &Snapshot,
    animals: &[Uuid],
    first: NaiveDate,
    last: NaiveDate,
) -> Result<Vec<(Uuid, Uuid, NaiveDate)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        assessed_on: NaiveDate,
    }
    let sql = format!(
        "SELECT DISTINCT ON (w.animal_id, w.assessed_on) w.id, w.animal_id, w.assessed_on FROM assessments w
          WHERE w.animal_id = ANY ($1) AND w.assessed_on BETWEEN $3 AND $4 AND {}
          ORDER BY w.animal_id, w.assessed_on, w.assessed_at, w.id",
        known("w", 2)
    );
    let values = [animals.to_vec().into(), snapshot.known_at().into(), first.into(), last.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows.into_iter().map(|row| (row.id, row.animal_id, row.assessed_on)).collect())
}
