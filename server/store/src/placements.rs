//! Placements: which enclosure an animal lives in, as an interval.

use crate::access::permit::Permit;
use crate::doors::Tx;
use crate::entity::placement;
use crate::error::Error;
use crate::facts::fact;
use chrono::{DateTime, Utc};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
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

/// Where an animal lives, with whom it can be compared.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Home {
    pub animal_id: Uuid,
    pub enclosure_id: Uuid,
    pub enclosure: String,
    pub taxon_id: Uuid,
    pub scientific_name: String,
}

/// The homes of all animals that now live in the same enclosures as these, themselves included, in order
/// of the animals.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn homes(tx: &Tx, permit: &Permit, animals: &[Uuid]) -> Result<Vec<Home>, Error> {
    let sql = "SELECT p.animal_id, p.enclosure_id, e.name AS enclosure, a.taxon_id, t.scientific_name
                 FROM placements p
                 JOIN animals a ON a.id = p.animal_id
                 JOIN taxon_names t ON t.taxon_id = a.taxon_id AND t.accepted AND t.superseded_at IS NULL
                 JOIN enclosures e ON e.id = p.enclosure_id
                WHERE p.site_id = $2 AND p.ended_at IS NULL AND p.superseded_at IS NULL
                  AND p.enclosure_id IN (SELECT own.enclosure_id FROM placements own
                                          WHERE own.animal_id = ANY ($1) AND own.site_id = $2
                                            AND own.ended_at IS NULL AND own.superseded_at IS NULL)
                ORDER BY p.animal_id";
    tx.rows(sql, [animals.to_vec().into(), permit.site().id.into()]).await
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
