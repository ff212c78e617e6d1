//! Placements: which enclosure an animal lives in, as an interval.

use crate::access::permit::Permit;
use crate::doors::Tx;
use crate::entity::placement;
use crate::error::Error;
use crate::facts::fact;
use chrono::{DateTime, Utc};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};
use uuid::Uuid;

/// The placements of these animals that are open.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn open(tx: &Tx, animals: &[Uuid]) -> Result<Vec<placement::Model>, Error> {
    Ok(placement::Entity::find()
        .filter(placement::Column::AnimalId.is_in(animals.iter().copied()))
        .filter(placement::Column::SupersededAt.is_null())
        .filter(placement::Column::EndedAt.is_null())
        .all(tx.txn())
        .await?)
}

/// Places animals in an enclosure from an instant on.
///
/// # Errors
/// [`Error::Broken`] where one lives somewhere else at that time.
pub async fn begin(
    tx: &mut Tx,
    permit: &Permit,
    animals: &[Uuid],
    enclosure: Uuid,
    at: DateTime<Utc>,
) -> Result<(), Error> {
    let rows: Vec<_> = animals
        .iter()
        .map(|&animal| {
            fact!(
                tx,
                placement::Model {
                    id: tx.new_id(),
                    animal_id: animal,
                    site_id: permit.site().id,
                    enclosure_id: enclosure,
                    began_at: at,
                    ended_at: None,
                }
            )
        })
        .collect();
    tx.insert(&rows).await
}

/// Ends the placement of an animal that is open, if one is.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn end(tx: &mut Tx, animal: Uuid, at: DateTime<Utc>) -> Result<(), Error> {
    for placement in open(tx, &[animal]).await? {
        close(tx, placement, at).await?;
    }
    Ok(())
}

/// Ends one open placement.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn close(tx: &mut Tx, open: placement::Model, at: DateTime<Utc>) -> Result<(), Error> {
    tx.supersede_of::<placement::Entity>(open.animal_id, open.id, "ended").await?;
    // A placement that would end as it began, or before, never was.
    if at <= open.began_at {
        return Ok(());
    }
    let row = fact!(
        tx,
        placement::Model {
            id: tx.new_id(),
            animal_id: open.animal_id,
            site_id: open.site_id,
            enclosure_id: open.enclosure_id,
            began_at: open.began_at,
            ended_at: Some(at),
        }
    );
    tx.insert(&[row]).await
}
