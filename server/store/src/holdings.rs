//! Holdings: who keeps an animal, as an interval.

use crate::doors::{Snapshot, Tx};
use crate::entity::holding;
use crate::error::Error;
use crate::facts::{fact, known};
use crate::model::holding::{Began, Ended, Holding};
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};
use uuid::Uuid;

/// How a holding begins.
pub struct Beginning {
    pub how: Began,
    pub at: DateTime<Utc>,
    pub on: NaiveDate,
    /// For an arrival, what kind of place the animal came from.
    pub source: &'static str,
    /// For an arrival, whom or where it came from.
    pub name: String,
    /// For an arrival, the country it came from; empty where not stated.
    pub country: String,
    pub transfer: Option<Uuid>,
}

/// How a holding ends.
pub struct Ending {
    pub how: Ended,
    pub at: DateTime<Utc>,
    pub on: NaiveDate,
    /// For a departure, what kind of place the animal went to.
    pub source: &'static str,
    /// For a departure, where or to whom it went.
    pub name: String,
    /// For a departure, the country it went to; empty where not stated.
    pub country: String,
    pub transfer: Option<Uuid>,
}

pub(super) const fn began_text(began: Began) -> &'static str {
    match began {
        Began::Birth => "birth",
        Began::Arrival => "arrival",
        Began::Transfer => "transfer",
        Began::ToldApart => "told_apart",
    }
}

pub(super) const fn ended_text(ended: Ended) -> &'static str {
    match ended {
        Ended::Death => "death",
        Ended::Departure => "departure",
        Ended::Escape => "escape",
        Ended::Transfer => "transfer",
    }
}

pub(super) fn ended(text: &str) -> Result<Ended, Error> {
    match text {
        "death" => Ok(Ended::Death),
        "departure" => Ok(Ended::Departure),
        "escape" => Ok(Ended::Escape),
        "transfer" => Ok(Ended::Transfer),
        other => Err(Error::corrupt("holdings", "ended_how", other)),
    }
}

/// All holdings of these animals that the caller may see, oldest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn of(snapshot: &Snapshot, animals: &[Uuid]) -> Result<Vec<Holding>, Error> {
    use sea_orm::FromQueryResult;
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        site_id: Uuid,
        began_at: DateTime<Utc>,
        began_on: NaiveDate,
        ended_at: Option<DateTime<Utc>>,
        ended_on: Option<NaiveDate>,
        ended_how: Option<String>,
        left_at: Option<DateTime<Utc>>,
        left_by: Option<Uuid>,
    }
    let sql = format!(
        "SELECT h.animal_id, h.site_id, h.began_at, h.began_on, h.ended_at, h.ended_on, h.ended_how,
                l.happened_at AS left_at, l.transfer_id AS left_by
           FROM holdings h
           LEFT JOIN LATERAL (
             SELECT s.transfer_id, s.happened_at FROM transfers t
               JOIN transfer_steps s ON s.transfer_id = t.id AND s.step = 'dispatched'
              WHERE t.animal_id = h.animal_id AND t.from_site_id = h.site_id AND t.state = 'dispatched'
                AND h.ended_at IS NULL) l ON true
          WHERE h.animal_id = ANY ($1) AND {} ORDER BY h.animal_id, h.began_at",
        known("h", 2)
    );
    let rows = snapshot.rows::<Row>(&sql, [animals.to_vec().into(), snapshot.known_at().into()]).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Holding {
                animal: row.animal_id,
                site: row.site_id,
                began_at: row.began_at,
                began_on: row.began_on,
                ended_at: row.ended_at,
                ended_on: row.ended_on,
                ended: row.ended_how.as_deref().map(ended).transpose()?,
                left: row.left_at.zip(row.left_by),
            })
        })
        .collect()
}

/// The site in scope that answers for an animal: its holder, or its last one where nobody holds it; none where that is
/// a site out of scope.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn answers(snapshot: &Snapshot, animal: Uuid) -> Result<Option<Uuid>, Error> {
    use sea_orm::FromQueryResult;
    #[derive(FromQueryResult)]
    struct Answers {
        site: Option<Uuid>,
    }
    let rows = snapshot.rows::<Answers>("SELECT holt_answers($1) AS site", [animal.into()]).await?;
    Ok(rows.into_iter().find_map(|row| row.site))
}

/// The holding that is open, where the caller may see it.
async fn open(tx: &Tx, animal: Uuid) -> Result<Option<holding::Model>, Error> {
    let open = holding::Entity::find()
        .filter(holding::Column::AnimalId.eq(animal))
        .filter(holding::Column::SupersededAt.is_null())
        .filter(holding::Column::EndedAt.is_null())
        .one(tx.txn())
        .await?;
    Ok(open)
}

/// Begins a holding.
///
/// # Errors
/// [`Error::Broken`] where somebody holds the animal at that time.
pub async fn begin(tx: &mut Tx, animal: Uuid, site: Uuid, beginning: Beginning) -> Result<(), Error> {
    let row = fact!(
        tx,
        holding::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: site,
            began_at: beginning.at,
            began_on: beginning.on,
            began_how: began_text(beginning.how).to_owned(),
            began_source: beginning.source.to_owned(),
            began_name: beginning.name,
            began_country: beginning.country,
            ended_at: None,
            ended_on: None,
            ended_how: None,
            ended_source: String::new(),
            ended_name: String::new(),
            ended_country: String::new(),
            transfer_in: beginning.transfer,
            transfer_out: None,
        }
    );
    tx.insert(&[row]).await
}

/// Ends the holding that is open: another version of it, with an end, takes its place.
///
/// # Errors
/// [`Error::Contention`] where none is open any more.
pub async fn end(tx: &mut Tx, animal: Uuid, ending: Ending) -> Result<(), Error> {
    let open = open(tx, animal).await?.ok_or(Error::Contention)?;
    tx.supersede_of::<holding::Entity>(animal, open.id, "ended").await?;
    let row = fact!(
        tx,
        holding::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: open.site_id,
            began_at: open.began_at,
            began_on: open.began_on,
            began_how: open.began_how,
            began_source: open.began_source,
            began_name: open.began_name,
            began_country: open.began_country,
            ended_at: Some(ending.at),
            ended_on: Some(ending.on),
            ended_how: Some(ended_text(ending.how).to_owned()),
            ended_source: ending.source.to_owned(),
            ended_name: ending.name,
            ended_country: ending.country,
            transfer_in: open.transfer_in,
            transfer_out: ending.transfer,
        }
    );
    tx.insert(&[row]).await
}
