//! Titles: who owns an animal, as an interval.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::title;
use crate::error::Error;
use crate::facts::{covers, fact, known};
use crate::model::page::{Page, Slice};
use chrono::{DateTime, Utc};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

/// Who owns an animal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Owner {
    /// A site in Holt.
    Site(Uuid),
    /// Somebody else, by name.
    Outside(String),
}

impl Owner {
    /// The owner as a title holds it: a site, or a name.
    pub(super) fn columns(&self) -> (Option<Uuid>, String) {
        match self {
            Self::Site(site) => (Some(*site), String::new()),
            Self::Outside(name) => (None, name.clone()),
        }
    }
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
    let (owner_site_id, owner_name) = owner.columns();
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
    match open(tx, animal).await? {
        Some(open) => close(tx, open, at, "ended").await,
        None => Ok(()),
    }
}

/// Ends a title. It stays of the site that it was of, whoever ends it.
async fn close(tx: &mut Tx, open: title::Model, at: DateTime<Utc>, why: &str) -> Result<(), Error> {
    tx.supersede_of::<title::Entity>(open.animal_id, open.id, why).await?;
    // A title that would end as it began never was.
    if at <= open.began_at {
        return Ok(());
    }
    let row = fact!(
        tx,
        title::Model {
            id: tx.new_id(),
            animal_id: open.animal_id,
            site_id: open.site_id,
            owner_site_id: open.owner_site_id,
            owner_name: open.owner_name,
            began_at: open.began_at,
            ended_at: Some(at),
        }
    );
    tx.insert(&[row]).await
}

/// The title that is open.
async fn open(snapshot: &Snapshot, animal: Uuid) -> Result<Option<title::Model>, Error> {
    let open = title::Entity::find()
        .filter(title::Column::AnimalId.eq(animal))
        .filter(title::Column::SupersededAt.is_null())
        .filter(title::Column::EndedAt.is_null())
        .one(snapshot.txn())
        .await?;
    Ok(open)
}

/// The owner of an animal now, if it has one.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn open_of(snapshot: &Snapshot, animal: Uuid) -> Result<Option<Owner>, Error> {
    Ok(standing(snapshot, animal).await?.map(|(owner, _)| owner))
}

/// The same with the instant since when.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn standing(snapshot: &Snapshot, animal: Uuid) -> Result<Option<(Owner, DateTime<Utc>)>, Error> {
    let open = open(snapshot, animal).await?;
    Ok(open.map(|row| {
        let owner = row.owner_site_id.map_or_else(|| Owner::Outside(row.owner_name), Owner::Site);
        (owner, row.began_at)
    }))
}

/// Somebody else owns an animal from an instant on; answers under which of its records the title stands that ended.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn pass(
    tx: &mut Tx,
    animal: Uuid,
    recorder: Uuid,
    to: Owner,
    at: DateTime<Utc>,
    why: &str,
) -> Result<Uuid, Error> {
    let Some(old) = open(tx, animal).await? else { return Err(Error::Contention) };
    close(tx, old, at, why).await?;
    begin(tx, animal, recorder, to, at).await?;
    Ok(tx.superseded_record::<title::Entity>(animal))
}

/// Animals that a site owns and does not hold at an instant.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn owned_elsewhere(
    snapshot: &Snapshot,
    permit: &Permit,
    at: DateTime<Utc>,
    page: &Page,
) -> Result<Slice<Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
    }
    let after: Option<Uuid> = page.after.as_deref().and_then(|key| key.parse().ok());
    let sql = format!(
        "SELECT t.animal_id FROM titles t
          WHERE t.owner_site_id = $1 AND {known_t} AND {covers_t} AND t.animal_id > $4
            AND NOT EXISTS (SELECT FROM holdings h WHERE h.animal_id = t.animal_id AND h.site_id = $1
                               AND {known_h} AND {covers_h})
          ORDER BY t.animal_id LIMIT $5",
        known_t = known("t", 2),
        covers_t = covers("t", 3),
        known_h = known("h", 2),
        covers_h = covers("h", 3),
    );
    let values = [
        permit.site().id.into(),
        snapshot.known_at().into(),
        at.into(),
        after.unwrap_or_default().into(),
        (i64::from(page.size) + 1).into(),
    ];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let ids = rows.into_iter().map(|row| row.animal_id).collect();
    Ok(Slice::cut(ids, page, |id: &Uuid| id.to_string()))
}
