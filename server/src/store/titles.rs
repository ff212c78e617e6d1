//! Titles: who owns an animal, as an interval.

use crate::store::doors::Tx;
use crate::store::entity::title;
use crate::store::error::Error;
use crate::store::facts::fact;
use chrono::{DateTime, Utc};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};
use uuid::Uuid;

/// Who owns an animal.
#[derive(Clone, Debug)]
pub enum Owner {
    /// A site in Holt.
    Site(Uuid),
    /// Somebody else, by name.
    Outside(String),
}

/// Begins a title.
///
/// # Errors
/// [`Error::Broken`] where somebody owns the animal at that time.
pub async fn begin(
    tx: &mut Tx,
    animal: Uuid,
    recorder: Uuid,
    owner: Owner,
    at: DateTime<Utc>,
) -> Result<(), Error> {
    let (owner_site_id, owner_name) = match owner {
        Owner::Site(site) => (Some(site), String::new()),
        Owner::Outside(name) => (None, name),
    };
    let row = fact!(
        tx,
        title::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: recorder,
            owner_site_id: owner_site_id,
            owner_name: owner_name,
            began_at: at,
            ended_at: None,
        }
    );
    tx.insert(&[row]).await
}

/// Ends the title that is open, if one is.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn end(tx: &mut Tx, animal: Uuid, at: DateTime<Utc>) -> Result<(), Error> {
    let open = title::Entity::find()
        .filter(title::Column::AnimalId.eq(animal))
        .filter(title::Column::SupersededAt.is_null())
        .filter(title::Column::EndedAt.is_null())
        .one(tx.txn())
        .await?;
    let Some(open) = open else { return Ok(()) };
    tx.supersede_of::<title::Entity>(animal, open.id, "ended").await?;
    // A title that would end as it began never was.
    if at <= open.began_at {
        return Ok(());
    }
    let row = fact!(
        tx,
        title::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: open.site_id,
            owner_site_id: open.owner_site_id,
            owner_name: open.owner_name,
            began_at: open.began_at,
            ended_at: Some(at),
        }
    );
    tx.insert(&[row]).await
}
