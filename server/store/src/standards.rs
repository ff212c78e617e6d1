//! Standards: the clauses of laws and of published standards, as versioned data.

use crate::doors::{Snapshot, Tx};
use crate::entity::standard;
use crate::error::Error;
use holt_audit::standard::Standard;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};
use uuid::Uuid;

/// A version of a standard on record.
#[derive(Clone, Debug)]
pub struct Kept {
    pub id: Uuid,
    pub standard: Standard,
}

fn kept(row: standard::Model) -> Result<Kept, Error> {
    let standard = serde_json::from_value(row.content)
        .map_err(|error| Error::corrupt("standards", "content", &error))?;
    Ok(Kept { id: row.id, standard })
}

/// All versions of all standards, by code and version.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all(snapshot: &Snapshot) -> Result<Vec<Kept>, Error> {
    let rows = standard::Entity::find()
        .order_by_asc(standard::Column::Code)
        .order_by_asc(standard::Column::Version)
        .all(snapshot.txn())
        .await?;
    snapshot.legible("standard", rows, |row| row.id, kept)
}

/// A version of a standard.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn one(snapshot: &Snapshot, code: &str, version: i32) -> Result<Option<Kept>, Error> {
    let wanted = standard::Entity::find()
        .filter(standard::Column::Code.eq(code))
        .filter(standard::Column::Version.eq(version));
    let found = Vec::from_iter(wanted.one(snapshot.txn()).await?);
    Ok(snapshot.legible("standard", found, |row| row.id, kept)?.pop())
}

/// Keeps a version of a standard, for all sites or for one.
///
/// # Errors
/// [`Error::Broken`] where the version is taken.
pub async fn insert(tx: &mut Tx, standard: &Standard, site: Option<Uuid>) -> Result<Kept, Error> {
    let row = standard::Model {
        id: tx.new_id(),
        code: standard.code.clone(),
        version: i32::try_from(standard.version).unwrap_or(i32::MAX),
        content: serde_json::to_value(standard)?,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
        site_id: site,
    };
    tx.insert(std::slice::from_ref(&row)).await?;
    kept(row)
}
