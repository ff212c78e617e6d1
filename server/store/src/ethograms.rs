//! Ethograms: versioned data that stewards load.

use crate::doors::{Snapshot, Tx};
use crate::entity::ethogram;
use crate::error::Error;
use holt_audit::ethogram::Ethogram;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};
use uuid::Uuid;

/// A version of an ethogram on record.
#[derive(Clone, Debug)]
pub struct Kept {
    pub id: Uuid,
    pub ethogram: Ethogram,
}

fn kept(row: ethogram::Model) -> Result<Kept, Error> {
    let ethogram = serde_json::from_value(row.content)
        .map_err(|error| Error::corrupt("ethograms", "content", &error))?;
    Ok(Kept { id: row.id, ethogram })
}

/// All versions of all ethograms, by code and version.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all(snapshot: &Snapshot) -> Result<Vec<Kept>, Error> {
    let rows = ethogram::Entity::find()
        .order_by_asc(ethogram::Column::Code)
        .order_by_asc(ethogram::Column::Version)
        .all(snapshot.txn())
        .await?;
    rows.into_iter().map(kept).collect()
}

/// A version of an ethogram.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn one(snapshot: &Snapshot, code: &str, version: i32) -> Result<Option<Kept>, Error> {
    let wanted = ethogram::Entity::find()
        .filter(ethogram::Column::Code.eq(code))
        .filter(ethogram::Column::Version.eq(version));
    wanted.one(snapshot.txn()).await?.map(kept).transpose()
}

/// Keeps a version of an ethogram, for all sites or for one.
///
/// # Errors
/// [`Error::Broken`] where the version is taken.
pub async fn insert(tx: &mut Tx, ethogram: &Ethogram, site: Option<Uuid>) -> Result<Kept, Error> {
    let row = ethogram::Model {
        id: tx.new_id(),
        code: ethogram.code.clone(),
        version: i32::try_from(ethogram.version).unwrap_or(i32::MAX),
        content: serde_json::to_value(ethogram)?,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
        site_id: site,
    };
    tx.insert(std::slice::from_ref(&row)).await?;
    kept(row)
}
