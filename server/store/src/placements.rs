//! Placements: which enclosure an animal lives in, as an interval.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::placement;
use crate::error::Error;
use crate::facts::{fact, known};
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

/// Where an animal lived, and from when until when.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Home {
    pub animal_id: Uuid,
    pub enclosure_id: Uuid,
    pub enclosure: String,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
}

impl Home {
    /// Whether it lived there at an instant.
    #[must_use]
    pub fn covers(&self, at: DateTime<Utc>) -> bool {
        self.began_at <= at && self.ended_at.is_none_or(|ended| at < ended)
    }
}

/// Where these animals lived at a site, and where all others of a species did that ever lived in one of the same
/// enclosures; in order of animals and time.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn homes(
    snapshot: &Snapshot,
    permit: &Permit,
    taxon: Uuid,
    animals: &[Uuid],
) -> Result<Vec<Home>, Error> {
    let sql = format!(
        "SELECT p.animal_id, p.enclosure_id, e.name AS enclosure, p.began_at, p.ended_at
           FROM placements p JOIN animals a ON a.id = p.animal_id JOIN enclosures e ON e.id = p.enclosure_id
          WHERE p.site_id = $1 AND a.taxon_id = $2 AND {known_p}
            AND p.animal_id IN (
                  SELECT o.animal_id FROM placements o
                   WHERE o.site_id = $1 AND {known_o} AND o.enclosure_id IN (
                         SELECT own.enclosure_id FROM placements own
                          WHERE own.site_id = $1 AND own.animal_id = ANY ($4) AND {known_own}))
          ORDER BY p.animal_id, p.began_at",
        known_p = known("p", 3),
        known_o = known("o", 3),
        known_own = known("own", 3),
    );
    let values =
        [permit.site().id.into(), taxon.into(), snapshot.known_at().into(), animals.to_vec().into()];
    snapshot.rows(&sql, values).await
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
