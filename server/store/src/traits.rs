//! What is usual in a species.

use crate::doors::{Snapshot, Tx};
use crate::entity::taxon_trait;
use crate::error::Error;
use crate::model::traits::{EnergyNeed, Traits};
use sea_orm::{EntityTrait, QueryOrder};
use std::collections::HashMap;
use uuid::Uuid;

fn traits(row: taxon_trait::Model) -> (Uuid, Traits) {
    let energy = match (row.rest_kcal, row.need_low, row.need_high) {
        (Some(rest_kcal), Some(low), Some(high)) => Some(EnergyNeed { rest_kcal, low, high }),
        _ => None,
    };
    (
        row.taxon_id,
        Traits { gestation_days: row.gestation_days, seasonal: row.seasonal, energy, source: row.source },
    )
}

/// What was said last of all species, by species.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all(snapshot: &Snapshot) -> Result<HashMap<Uuid, Traits>, Error> {
    // The later one takes the place of the earlier.
    let rows = taxon_trait::Entity::find()
        .order_by_asc(taxon_trait::Column::RecordedAt)
        .order_by_asc(taxon_trait::Column::Id)
        .all(snapshot.txn())
        .await?;
    Ok(rows.into_iter().map(traits).collect())
}

/// Says what is usual in a species; it stands from now on.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn describe(tx: &mut Tx, taxon: Uuid, new: &Traits) -> Result<(), Error> {
    let row = taxon_trait::Model {
        id: tx.new_id(),
        taxon_id: taxon,
        gestation_days: new.gestation_days,
        seasonal: new.seasonal,
        rest_kcal: new.energy.map(|energy| energy.rest_kcal),
        need_low: new.energy.map(|energy| energy.low),
        need_high: new.energy.map(|energy| energy.high),
        source: new.source.clone(),
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await
}
