//! Pedigrees, as far as the asker sees them: row-level security ends them where sight ends.

use crate::animals::sex;
use crate::doors::Snapshot;
use crate::error::Error;
use crate::facts::known;
use crate::model::kinship::{Line, Parentage};
use chrono::NaiveDate;
use holt_audit::terms::Sex;
use sea_orm::FromQueryResult;
use std::collections::HashMap;
use uuid::Uuid;

/// These animals and all their ancestors, `most` of them at most. Ancestors of which nothing may be seen are there
/// by their identifiers, which stand with their offspring.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn lines(snapshot: &Snapshot, animals: &[Uuid], most: usize) -> Result<Vec<Line>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        sex: Option<String>,
        born_first: Option<NaiveDate>,
        born_last: Option<NaiveDate>,
        wild: bool,
    }
    let sql = format!(
        "WITH RECURSIVE up (id) AS (
           SELECT unnest($1::uuid[])
           UNION
           SELECT p.parent_id FROM up JOIN parents p ON p.animal_id = up.id AND {known_p}
         ), bounded AS MATERIALIZED (SELECT id FROM up LIMIT $3)
         SELECT u.id AS animal_id, s.sex, b.born_first, b.born_last,
                EXISTS (SELECT FROM holdings h WHERE h.animal_id = u.id AND {known_h}
                           AND h.began_how = 'arrival' AND h.began_source = 'wild') AS wild
           FROM bounded u
           LEFT JOIN births b ON b.animal_id = u.id AND {known_b}
           LEFT JOIN LATERAL (SELECT x.sex FROM sexings x WHERE x.animal_id = u.id AND {known_x}
                               ORDER BY x.determined_on DESC LIMIT 1) s ON true",
        known_p = known("p", 2),
        known_h = known("h", 2),
        known_b = known("b", 2),
        known_x = known("x", 2),
    );
    let values =
        [animals.to_vec().into(), snapshot.known_at().into(), i64::try_from(most).unwrap_or(i64::MAX).into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let ids: Vec<Uuid> = rows.iter().map(|row| row.animal_id).collect();
    let mut parents = parents(snapshot, &ids).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Line {
                animal: row.animal_id,
                sex: row.sex.as_deref().map_or(Ok(Sex::Unknown), sex)?,
                born: row.born_first.zip(row.born_last),
                wild: row.wild,
                parents: parents.remove(&row.animal_id).unwrap_or_default(),
            })
        })
        .collect()
}

async fn parents(snapshot: &Snapshot, animals: &[Uuid]) -> Result<HashMap<Uuid, Vec<Parentage>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        parent_id: Uuid,
        kind: String,
        share: f64,
    }
    let sql = format!(
        "SELECT p.animal_id, p.parent_id, p.kind, p.share FROM parents p
          WHERE p.animal_id = ANY ($1) AND {} ORDER BY p.animal_id, p.share DESC, p.parent_id",
        known("p", 2)
    );
    let mut parents: HashMap<Uuid, Vec<Parentage>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, [animals.to_vec().into(), snapshot.known_at().into()]).await? {
        let part = if row.kind == "dam" { Sex::Female } else { Sex::Male };
        let of = parents.entry(row.animal_id).or_default();
        of.push(Parentage { parent: row.parent_id, part, share: row.share });
    }
    Ok(parents)
}

/// Animals of which one of these is a parent, `most` of them at most.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn offspring(snapshot: &Snapshot, of: &[Uuid], most: usize) -> Result<Vec<Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
    }
    let sql = format!(
        "SELECT DISTINCT p.animal_id FROM parents p WHERE p.parent_id = ANY ($1) AND {} ORDER BY 1 LIMIT $3",
        known("p", 2)
    );
    let values =
        [of.to_vec().into(), snapshot.known_at().into(), i64::try_from(most).unwrap_or(i64::MAX).into()];
    Ok(snapshot.rows::<Row>(&sql, values).await?.into_iter().map(|row| row.animal_id).collect())
}
