//! Assessments.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::assessment;
use crate::error::Error;
use crate::facts::{fact, known};
use crate::model::animal::Label;
use crate::model::assessment::{Assessment, Finding};
use crate::model::page::{Page, Slice};
use crate::weights::{Wanted, label, moment};
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::FromQueryResult;
use uuid::Uuid;

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
    let slice = Slice::cut(rows, page, |row| format!("{} {}", row.assessed_at.to_rfc3339(), row.id));
    let entries = snapshot.legible(
        "assessment",
        slice.entries,
        |row| row.id,
        |row| {
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
        },
    )?;
    Ok(Slice { entries, next: slice.next })
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
