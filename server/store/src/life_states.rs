//! Life states: carrying, moult, rut, torpor, rest, each as an interval.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::life_state;
use crate::error::{Error, stored};
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::animal::Label;
use crate::model::life_state::{LifeState, StateEnd, StateKind};
use crate::model::page::{Page, Slice};
use crate::weights::{label, moment};
use chrono::{DateTime, Utc};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

/// The states of these animals that last.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn open(tx: &Tx, animals: &[Uuid]) -> Result<Vec<life_state::Model>, Error> {
    Ok(life_state::Entity::find()
        .filter(life_state::Column::AnimalId.is_in(animals.iter().copied()))
        .filter(life_state::Column::SupersededAt.is_null())
        .filter(life_state::Column::EndedAt.is_null())
        .all(tx.txn())
        .await?)
}

/// What begins.
pub struct Beginning<'a> {
    pub kind: StateKind,
    pub suspected: bool,
    pub at: DateTime<Utc>,
    pub note: &'a str,
}

/// Begins a state of an animal; answers its identifier.
///
/// # Errors
/// [`Error::Broken`] where it is in such a state at that time.
pub async fn begin(tx: &mut Tx, permit: &Permit, animal: Uuid, new: Beginning<'_>) -> Result<Uuid, Error> {
    let row = fact!(
        tx,
        life_state::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: permit.site().id,
            state: new.kind.as_str().to_owned(),
            suspected: new.suspected,
            began_at: new.at,
            ended_at: None,
            ended_how: None,
            ended_why: String::new(),
            note: new.note.to_owned(),
        }
    );
    let id = row.id;
    tx.insert(&[row]).await?;
    Ok(id)
}

/// Ends one that lasts; answers its identifier, and none where it would end as it began, or before: it never was.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn close(
    tx: &mut Tx,
    open: life_state::Model,
    at: DateTime<Utc>,
    how: StateEnd,
    why: &str,
) -> Result<Option<Uuid>, Error> {
    tx.supersede::<life_state::Entity>(open.id, "ended").await?;
    if at <= open.began_at {
        return Ok(None);
    }
    let row = fact!(
        tx,
        life_state::Model {
            id: tx.new_id(),
            animal_id: open.animal_id,
            site_id: open.site_id,
            state: open.state,
            suspected: open.suspected,
            began_at: open.began_at,
            ended_at: Some(at),
            ended_how: Some(how.as_str().to_owned()),
            ended_why: why.to_owned(),
            note: open.note,
        }
    );
    let id = row.id;
    tx.insert(&[row]).await?;
    Ok(Some(id))
}

/// Ends all that last, as an animal goes off the books.
///
/// # Errors
/// [`Error::Contention`] where somebody ended one meanwhile.
pub async fn end(tx: &mut Tx, animal: Uuid, at: DateTime<Utc>, why: &str) -> Result<(), Error> {
    for state in open(tx, &[animal]).await? {
        close(tx, state, at, StateEnd::Left, why).await?;
    }
    Ok(())
}

/// Which states are wanted.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted {
    pub animal: Option<Uuid>,
    pub id: Option<Uuid>,
    /// Those that last at this instant; all where none.
    pub at: Option<DateTime<Utc>>,
}

/// States that a site recorded, newest beginning first, as was known at the instant of the snapshot.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: Wanted,
    page: &Page,
) -> Result<Slice<LifeState>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        state: String,
        suspected: bool,
        began_at: DateTime<Utc>,
        ended_at: Option<DateTime<Utc>>,
        ended_how: Option<String>,
        ended_why: String,
        note: String,
        recorder: Option<String>,
        recorded_at: DateTime<Utc>,
        accession: Option<String>,
        house_name: Option<String>,
    }
    let site = permit.site();
    let mut filter = Filter::after([site.id.into(), snapshot.known_at().into()]);
    filter.and("f.animal_id = ?", wanted.animal.map(|animal| [animal.into()]));
    filter.and("f.id = ?", wanted.id.map(|id| [id.into()]));
    filter.and(
        "f.began_at <= ? AND (f.ended_at IS NULL OR f.ended_at > ?)",
        wanted.at.map(|at| [at.into(), at.into()]),
    );
    let after = page.after.as_deref().and_then(moment).map(|(at, id)| [at.into(), id.into()]);
    filter.and("(f.began_at, f.id) < (?, ?)", after);
    let (filter, limit, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT f.id, f.animal_id, f.state, f.suspected, f.began_at, f.ended_at, f.ended_how, f.ended_why, f.note,
                p.name AS recorder, f.recorded_at, {label}
           FROM life_states f LEFT JOIN people p ON p.id = f.recorded_by
          WHERE f.site_id = $1 AND {known_f}{filter}
          ORDER BY f.began_at DESC, f.id DESC LIMIT ${limit}",
        label = label("f", 2),
        known_f = known("f", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let states = rows
        .into_iter()
        .map(|row| {
            let how: Option<StateEnd> = stored("life_states", "ended_how", row.ended_how)?;
            Ok(LifeState {
                id: row.id,
                animal: Label {
                    id: row.animal_id,
                    accession: row.accession.unwrap_or_default(),
                    house_name: row.house_name.unwrap_or_default(),
                },
                site: site.code.clone(),
                kind: stored("life_states", "state", row.state)?,
                suspected: row.suspected,
                began_at: row.began_at,
                ended: row.ended_at.zip(how),
                ended_why: row.ended_why,
                note: row.note,
                recorder: row.recorder.unwrap_or_default(),
                recorded_at: row.recorded_at,
            })
        })
        .collect::<Result<Vec<_>, Error>>()?;
    Ok(Slice::cut(states, page, |one: &LifeState| format!("{} {}", one.began_at.to_rfc3339(), one.id)))
}
