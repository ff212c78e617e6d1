//! Records that were entered by mistake: the animal never was.

use crate::access::permit::Permit;
use crate::corrections;
use crate::doors::{Snapshot, Tx};
use crate::entity::mistake;
use crate::error::Error;
use crate::facts::fact;
use crate::model::fact::{FactKind, Version};
use chrono::{DateTime, Utc};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

/// A mistake that stands.
pub struct Standing(mistake::Model);

/// Says that a record was entered by mistake. Its marks are free again.
///
/// # Errors
/// [`Error::Broken`] where something hangs on it.
pub async fn insert(tx: &mut Tx, permit: &Permit, animal: Uuid, because: &str) -> Result<(), Error> {
    for mark in corrections::standing(tx, animal, FactKind::Mark).await? {
        corrections::withdraw(tx, &mark, because).await?;
    }
    let row = fact!(
        tx,
        mistake::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: permit.site().id,
            because: because.to_owned(),
        }
    );
    tx.insert(&[row]).await
}

/// The mistake that stands of a record.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn standing(snapshot: &Snapshot, animal: Uuid) -> Result<Option<Standing>, Error> {
    let found = mistake::Entity::find()
        .filter(mistake::Column::AnimalId.eq(animal))
        .filter(mistake::Column::SupersededAt.is_null())
        .one(snapshot.txn())
        .await?;
    Ok(found.map(Standing))
}

/// Takes back that a record was entered by mistake: everything of it stands again, and its marks are on it.
///
/// # Errors
/// [`Error::Contention`] where somebody did meanwhile; [`Error::Broken`] where another animal has one of its marks now.
pub async fn end(tx: &mut Tx, Standing(mistake): Standing, why: &str) -> Result<(), Error> {
    tx.supersede_of::<mistake::Entity>(mistake.animal_id, mistake.id, why).await?;
    let condition = "animal_id = $1 AND superseded_in = $2";
    let values = vec![mistake.animal_id.into(), mistake.request_id.into()];
    for mark in corrections::rows_where(tx, FactKind::Mark, condition, values).await? {
        corrections::record(tx, FactKind::Mark, mark.row).await?;
    }
    Ok(())
}

/// What hangs on a record, so that it cannot be taken for a mistake.
#[derive(FromQueryResult)]
pub struct Hanging {
    /// What it is: a merge, a transfer, a parent, an encounter, an owner, or a fact of another site.
    pub what: String,
    /// When, where it has a time.
    pub at: Option<DateTime<Utc>>,
    /// With whom: the accession of a young, the code of an owner.
    pub with: Option<String>,
}

/// The first that hangs on a record, if anything does.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn hanging(snapshot: &Snapshot, permit: &Permit, animal: Uuid) -> Result<Option<Hanging>, Error> {
    let others = corrections::OF_AN_ANIMAL
        .map(|(kind, table)| {
            format!(
                "SELECT 9, 'other site', NULL::timestamptz, '{}' FROM {table} f
                  WHERE f.animal_id = $1 AND f.superseded_at IS NULL AND f.site_id <> $2",
                kind.spoken()
            )
        })
        .join(" UNION ALL ");
    let sql = format!(
        "SELECT l.what, l.at, l.with FROM (
           SELECT 1 AS n, 'merge' AS what, g.recorded_at AS at, NULL AS with FROM public.merges g
            WHERE g.superseded_at IS NULL AND (g.animal_id = ANY (holt_records(ARRAY[$1]::uuid[])) OR g.into_id = $1)
           UNION ALL
           SELECT 2, 'transfer', t.recorded_at, NULL FROM transfers t
            WHERE t.animal_id = $1 AND t.state NOT IN ('refused', 'cancelled')
           UNION ALL
           SELECT 3, 'parent', NULL,
                  (SELECT c.number FROM accessions c WHERE c.animal_id = p.animal_id AND c.superseded_at IS NULL
                    ORDER BY c.recorded_at LIMIT 1)
             FROM parents p WHERE p.parent_id = $1 AND p.superseded_at IS NULL
           UNION ALL
           SELECT 4, 'litter', l.born_on::timestamp AT TIME ZONE 'UTC', NULL
             FROM litter_parents p JOIN litters l ON l.id = p.litter_id
            WHERE p.parent_id = $1 AND p.superseded_at IS NULL
           UNION ALL
           SELECT 5, 'encounter', e.began_at, NULL
             FROM encounter_animals a JOIN encounters e ON e.id = a.encounter_id
            WHERE a.animal_id = $1 AND e.superseded_at IS NULL
           UNION ALL
           SELECT 6, 'owner', t.began_at, s.code FROM titles t JOIN sites s ON s.id = t.owner_site_id
            WHERE t.animal_id = $1 AND t.superseded_at IS NULL AND t.owner_site_id <> $2
           UNION ALL {others}
         ) l ORDER BY l.n, l.at LIMIT 1"
    );
    let values = [animal.into(), permit.site().id.into()];
    Ok(snapshot.rows::<Hanging>(&sql, values).await?.pop())
}

/// A parent of an animal that is said never to have been itself.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn parent_that_never_was(snapshot: &Snapshot, animal: Uuid) -> Result<Option<Hanging>, Error> {
    let sql = "SELECT 'parent' AS what, NULL::timestamptz AS at, c.number AS with
                 FROM public.parents p JOIN mistakes m ON m.animal_id = p.parent_id
                 JOIN accessions c ON c.animal_id = p.parent_id
                WHERE p.animal_id = $1 AND p.superseded_at IS NULL AND m.superseded_at IS NULL
                  AND c.superseded_at IS NULL ORDER BY c.number LIMIT 1";
    Ok(snapshot.rows::<Hanging>(sql, [animal.into()]).await?.pop())
}

/// What stands of a record, kind by kind.
///
/// # Errors
/// [`Error::Contention`] where one was stamped after the instant of this write: asked as known in between, it would be of
/// a record that was a mistake before.
pub async fn facts(tx: &Tx, animal: Uuid) -> Result<Vec<Version>, Error> {
    let mut facts = Vec::new();
    for (kind, _) in corrections::OF_AN_ANIMAL {
        facts.extend(corrections::standing(tx, animal, kind).await?);
    }
    if facts.iter().any(|fact| fact.instant("recorded_at").is_some_and(|at| at > tx.now())) {
        return Err(Error::Contention);
    }
    Ok(facts)
}
