//! Marks: how animals are told apart.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::mark;
use crate::error::Error;
use crate::facts::{covers, fact, known};
use crate::model::mark::{Mark, MarkKind, NewMark};
use chrono::{DateTime, Utc};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

const KINDS: [MarkKind; 7] = [
    MarkKind::Transponder,
    MarkKind::Ring,
    MarkKind::Tattoo,
    MarkKind::EarNotch,
    MarkKind::Natural,
    MarkKind::HouseName,
    MarkKind::FormerNumber,
];

pub(super) fn kind(text: &str) -> Result<MarkKind, Error> {
    KINDS.into_iter().find(|kind| kind.as_str() == text).ok_or_else(|| Error::corrupt("marks", "kind", text))
}

#[derive(FromQueryResult)]
struct Row {
    animal_id: Uuid,
    mark_id: Uuid,
    kind: String,
    code: String,
    place_on_body: String,
    issuer: String,
    began_at: DateTime<Utc>,
    ended_at: Option<DateTime<Utc>>,
}

/// Marks of these animals in force at an instant, each with its animal.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn in_force(
    snapshot: &Snapshot,
    animals: &[Uuid],
    at: DateTime<Utc>,
) -> Result<Vec<(Uuid, Mark)>, Error> {
    let sql = format!(
        "SELECT m.animal_id, m.mark_id, m.kind, m.code, m.place_on_body, m.issuer, m.began_at, m.ended_at
           FROM marks m WHERE m.animal_id = ANY ($1) AND {} AND {} ORDER BY m.animal_id, m.began_at, m.mark_id",
        known("m", 2),
        covers("m", 3)
    );
    let values = [animals.to_vec().into(), snapshot.known_at().into(), at.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            let mark = Mark {
                id: row.mark_id,
                kind: kind(&row.kind)?,
                code: row.code,
                place_on_body: row.place_on_body,
                issuer: row.issuer,
                began_at: row.began_at,
                ended_at: row.ended_at,
            };
            Ok((row.animal_id, mark))
        })
        .collect()
}

/// Puts marks on an animal.
///
/// # Errors
/// [`Error::Broken`] where a transponder is in force on another animal.
pub async fn apply(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    marks: &[NewMark],
    at: DateTime<Utc>,
) -> Result<Vec<Mark>, Error> {
    let rows: Vec<_> = marks
        .iter()
        .map(|new| {
            fact!(
                tx,
                mark::Model {
                    id: tx.new_id(),
                    animal_id: animal,
                    site_id: permit.site().id,
                    mark_id: tx.new_id(),
                    kind: new.kind.as_str().to_owned(),
                    code: new.code.clone(),
                    place_on_body: new.place_on_body.clone(),
                    issuer: new.issuer.clone(),
                    began_at: at,
                    ended_at: None,
                    ended_why: String::new(),
                }
            )
        })
        .collect();
    tx.insert(&rows).await?;
    rows.iter().map(to_model).collect()
}

fn to_model(row: &mark::Model) -> Result<Mark, Error> {
    Ok(Mark {
        id: row.mark_id,
        kind: kind(&row.kind)?,
        code: row.code.clone(),
        place_on_body: row.place_on_body.clone(),
        issuer: row.issuer.clone(),
        began_at: row.began_at,
        ended_at: row.ended_at,
    })
}

/// Ends a mark that is in force; none where the animal has no such mark.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn end(
    tx: &mut Tx,
    animal: Uuid,
    mark_id: Option<Uuid>,
    at: DateTime<Utc>,
    why: &str,
) -> Result<Vec<Mark>, Error> {
    let mut open = mark::Entity::find()
        .filter(mark::Column::AnimalId.eq(animal))
        .filter(mark::Column::SupersededAt.is_null())
        .filter(mark::Column::EndedAt.is_null());
    if let Some(mark_id) = mark_id {
        open = open.filter(mark::Column::MarkId.eq(mark_id));
    }
    let mut ended = Vec::new();
    for open in open.all(tx.txn()).await? {
        tx.supersede_of::<mark::Entity>(open.animal_id, open.id, why).await?;
        let row = fact!(
            tx,
            mark::Model {
                id: tx.new_id(),
                animal_id: animal,
                // It stays of the site that put it on, whoever ends it.
                site_id: open.site_id,
                mark_id: open.mark_id,
                kind: open.kind,
                code: open.code,
                place_on_body: open.place_on_body,
                issuer: open.issuer,
                began_at: open.began_at,
                ended_at: Some(at.max(open.began_at)),
                ended_why: why.to_owned(),
            }
        );
        tx.insert(std::slice::from_ref(&row)).await?;
        ended.push(to_model(&row)?);
    }
    Ok(ended)
}

/// The animal on which a transponder is in force, if the caller may see it.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn bearer(tx: &Tx, code: &str, at: DateTime<Utc>) -> Result<Option<Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Bearer {
        animal_id: Uuid,
    }
    let rows = tx
        .rows::<Bearer>(
            "SELECT animal_id FROM marks WHERE folded = lower($1) AND kind = 'transponder'
                AND superseded_at IS NULL AND (ended_at IS NULL OR ended_at > $2)",
            [code.into(), at.into()],
        )
        .await?;
    Ok(rows.into_iter().next().map(|row| row.animal_id))
}
