//! Facts of any kind, found by the identifier of a version and superseded by what they should have said.

use crate::doors::{Snapshot, Tx};
use crate::entity::{
    accession, assessment, birth, death, holding, life_state, litter_change, loan, mark, membership, paper,
    parent, placement, sexing, title, weight,
};
use crate::error::{Error, stored};
use crate::model::fact::{FactKind, Version};
use crate::rows::{self, Row};
use chrono::{DateTime, Utc};
use sea_orm::FromQueryResult;
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// Calls an async function of a type parameter for the entity of a kind of fact.
macro_rules! of_kind {
    ($kind:expr, $call:ident($($argument:expr),*)) => {
        match $kind {
            FactKind::Birth => $call::<birth::Model>($($argument),*).await,
            FactKind::Sex => $call::<sexing::Model>($($argument),*).await,
            FactKind::Parent => $call::<parent::Model>($($argument),*).await,
            FactKind::Accession => $call::<accession::Model>($($argument),*).await,
            FactKind::Holding => $call::<holding::Model>($($argument),*).await,
            FactKind::Title => $call::<title::Model>($($argument),*).await,
            FactKind::Placement => $call::<placement::Model>($($argument),*).await,
            FactKind::Membership => $call::<membership::Model>($($argument),*).await,
            FactKind::Mark => $call::<mark::Model>($($argument),*).await,
            FactKind::LifeState => $call::<life_state::Model>($($argument),*).await,
            FactKind::Loan => $call::<loan::Model>($($argument),*).await,
            FactKind::Paper => $call::<paper::Model>($($argument),*).await,
            FactKind::Weight => $call::<weight::Model>($($argument),*).await,
            FactKind::Assessment => $call::<assessment::Model>($($argument),*).await,
            FactKind::Death => $call::<death::Model>($($argument),*).await,
            FactKind::ToldApart => $call::<litter_change::Model>($($argument),*).await,
            FactKind::Encounter | FactKind::Transfer | FactKind::Merge | FactKind::Mistake => {
                Err(Error::Fault(format!("{:?} is not corrected", $kind)))
            }
        }
    };
}

/// The tables of facts that are about one animal and no other.
pub(super) const OF_AN_ANIMAL: [(FactKind, &str); 15] = [
    (FactKind::Birth, "births"),
    (FactKind::Sex, "sexings"),
    (FactKind::Parent, "parents"),
    (FactKind::Accession, "accessions"),
    (FactKind::Holding, "holdings"),
    (FactKind::Title, "titles"),
    (FactKind::Placement, "placements"),
    (FactKind::Membership, "memberships"),
    (FactKind::Mark, "marks"),
    (FactKind::LifeState, "life_states"),
    (FactKind::Loan, "loans"),
    (FactKind::Paper, "papers"),
    (FactKind::Weight, "weights"),
    (FactKind::Assessment, "assessments"),
    (FactKind::Death, "deaths"),
];

/// The version of a fact about an animal, superseded or not.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn find(snapshot: &Snapshot, animal: Uuid, id: Uuid) -> Result<Option<Version>, Error> {
    #[derive(FromQueryResult)]
    struct Found {
        kind: i32,
    }
    let each = OF_AN_ANIMAL
        .iter()
        .enumerate()
        .map(|(n, (_, table))| format!("SELECT {n} AS kind FROM {table} WHERE animal_id = $1 AND id = $2"));
    let sql = each.collect::<Vec<_>>().join(" UNION ALL ");
    let found = snapshot.rows::<Found>(&sql, [animal.into(), id.into()]).await?;
    let kind = found.first().and_then(|found| OF_AN_ANIMAL.get(usize::try_from(found.kind).ok()?));
    let Some((kind, _)) = kind.copied() else { return Ok(None) };
    let mut versions =
        rows_where(snapshot, kind, "animal_id = $1 AND id = $2", vec![animal.into(), id.into()]).await?;
    Ok(versions.pop())
}

/// What an identifier in the history of an animal is of where that is not the animal's alone, and so no
/// version of a fact to correct.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn joint(snapshot: &Snapshot, animal: Uuid, id: Uuid) -> Result<Option<FactKind>, Error> {
    #[derive(FromQueryResult)]
    struct Found {
        kind: String,
    }
    let sql = "SELECT 'encounter' AS kind FROM encounter_animals WHERE animal_id = $1 AND id = $2
               UNION ALL SELECT 'transfer' FROM transfers WHERE animal_id = $1 AND id = $2
               UNION ALL SELECT 'mistake' FROM public.mistakes WHERE animal_id = $1 AND id = $2
               UNION ALL SELECT 'merge' FROM public.merges
                          WHERE id = $2 AND animal_id = ANY (holt_records(ARRAY[$1]::uuid[]))";
    let found = snapshot.rows::<Found>(sql, [animal.into(), id.into()]).await?;
    found.into_iter().next().map(|found| stored("facts", "kind", found.kind)).transpose()
}

/// What stands of an animal and begins (`began_at`) or ends (`ended_at`) at an instant.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn meeting(
    snapshot: &Snapshot,
    animal: Uuid,
    column: &str,
    at: DateTime<Utc>,
) -> Result<Vec<Version>, Error> {
    let mut met = Vec::new();
    for kind in [
        FactKind::Holding,
        FactKind::Title,
        FactKind::Loan,
        FactKind::Placement,
        FactKind::Membership,
        FactKind::LifeState,
        FactKind::Mark,
    ] {
        let condition = format!("animal_id = $1 AND superseded_at IS NULL AND {column} = $2");
        met.extend(rows_where(snapshot, kind, &condition, vec![animal.into(), at.into()]).await?);
    }
    Ok(met)
}

/// From when on an animal would be held under one of its records and nobody would own it, by what this write
/// has done so far: each record has a life of its own if the link to it turns out wrong.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn unowned(snapshot: &Snapshot, animal: Uuid) -> Result<Option<DateTime<Utc>>, Error> {
    #[derive(FromQueryResult)]
    struct Gap {
        at: Option<DateTime<Utc>>,
    }
    let sql = "SELECT min(holt_unowned(r)) AS at FROM unnest(holt_records(ARRAY[$1]::uuid[])) r";
    let gap = snapshot.rows::<Gap>(sql, [animal.into()]).await?;
    Ok(gap.first().and_then(|gap| gap.at))
}

/// What stands of an animal of one kind.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn standing(snapshot: &Snapshot, animal: Uuid, kind: FactKind) -> Result<Vec<Version>, Error> {
    rows_where(snapshot, kind, "animal_id = $1 AND superseded_at IS NULL", vec![animal.into()]).await
}

/// Versions of one kind of fact that meet a condition in SQL.
pub(super) async fn rows_where(
    snapshot: &Snapshot,
    kind: FactKind,
    condition: &str,
    values: Vec<sea_orm::Value>,
) -> Result<Vec<Version>, Error> {
    of_kind!(kind, versions(snapshot, kind, condition, values))
}

async fn versions<R: Row>(
    snapshot: &Snapshot,
    kind: FactKind,
    condition: &str,
    values: Vec<sea_orm::Value>,
) -> Result<Vec<Version>, Error> {
    let sql = format!(
        "SELECT {} FROM {} WHERE {condition} ORDER BY recorded_at, id",
        rows::columns::<R>().join(", "),
        rows::name::<R>()
    );
    let found = snapshot.rows::<R>(&sql, values).await?;
    found
        .iter()
        .map(|row| match serde_json::to_value(row)? {
            Value::Object(row) => Ok(Version { kind, row }),
            other => Err(Error::Fault(format!("a row is not an object: {other}"))),
        })
        .collect()
}

/// Supersedes a version by one that says something else, and answers that.
///
/// # Errors
/// [`Error::Contention`] where somebody superseded it meanwhile; [`Error::Broken`] where what it is to say
/// contradicts another fact.
pub async fn replace(
    tx: &mut Tx,
    old: &Version,
    changes: &Map<String, Value>,
    why: &str,
) -> Result<Version, Error> {
    withdraw(tx, old, why).await?;
    let mut row = old.row.clone();
    for (column, value) in changes {
        row.insert(column.clone(), value.clone());
    }
    record(tx, old.kind, row).await
}

pub(super) async fn record(
    tx: &mut Tx,
    kind: FactKind,
    mut row: Map<String, Value>,
) -> Result<Version, Error> {
    let stamps = json!({
        "id": tx.new_id(),
        "recorded_at": tx.now(),
        "recorded_by": tx.person(),
        "request_id": tx.request_id(),
        "superseded_at": null,
        "superseded_in": null,
        "superseded_why": null,
    });
    row.extend(stamps.as_object().cloned().unwrap_or_default());
    let new = Version { kind, row };
    of_kind!(new.kind, insert(tx, &new))?;
    Ok(new)
}

async fn insert<R: Row>(tx: &mut Tx, new: &Version) -> Result<(), Error> {
    tx.insert_values::<R>(vec![(new.id().to_string(), Value::Object(new.row.clone()))]).await
}

/// Supersedes a version, and nothing takes its place.
///
/// # Errors
/// [`Error::Contention`] where somebody superseded it meanwhile.
pub async fn withdraw(tx: &mut Tx, old: &Version, why: &str) -> Result<(), Error> {
    of_kind!(old.kind, strike(tx, old, why))
}

async fn strike<R: Row>(tx: &mut Tx, old: &Version, why: &str) -> Result<(), Error> {
    tx.supersede_of::<R::Table>(old.uuid("animal_id").unwrap_or_default(), old.id(), why).await
}

/// Something of an animal that lies where no site held it.
#[derive(FromQueryResult)]
pub struct Stray {
    pub kind: String,
    pub at: DateTime<Utc>,
}

/// The first reading, assessment, placement, membership, state or encounter that lies outside the holdings of
/// its site.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn stray(snapshot: &Snapshot, animal: Uuid) -> Result<Option<Stray>, Error> {
    let sql = "SELECT s.kind, s.at FROM (
           SELECT 'weight' AS kind, site_id, weighed_at AS at, weighed_at AS until FROM weights
            WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'assessment', site_id, assessed_at, assessed_at FROM assessments
            WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'placement', site_id, began_at, coalesce(ended_at, 'infinity') FROM placements
            WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'membership', site_id, began_at, coalesce(ended_at, 'infinity') FROM memberships
            WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'state', site_id, began_at, coalesce(ended_at, 'infinity') FROM life_states
            WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'encounter', p.site_id, n.began_at, n.ended_at
             FROM encounter_animals p JOIN encounters n ON n.id = p.encounter_id
            WHERE p.animal_id = $1 AND n.superseded_at IS NULL
         ) s
        WHERE NOT EXISTS (SELECT FROM holdings h WHERE h.animal_id = $1 AND h.superseded_at IS NULL
                             AND h.site_id = s.site_id AND h.began_at <= s.at
                             AND (h.ended_at IS NULL OR s.until <= h.ended_at))
        ORDER BY s.at LIMIT 1";
    Ok(snapshot.rows::<Stray>(sql, [animal.into()]).await?.pop())
}

/// Whether another reading of the animal stands at an instant.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn weighed_at(
    snapshot: &Snapshot,
    animal: Uuid,
    at: DateTime<Utc>,
    but: Uuid,
) -> Result<bool, Error> {
    #[derive(FromQueryResult)]
    struct There {
        there: bool,
    }
    let rows = snapshot
        .rows::<There>(
            "SELECT EXISTS (SELECT FROM weights WHERE animal_id = $1 AND weighed_at = $2 AND id <> $3
                               AND superseded_at IS NULL) AS there",
            [animal.into(), at.into(), but.into()],
        )
        .await?;
    Ok(rows.first().is_some_and(|row| row.there))
}

/// A young of an animal: which parent the animal is to it, and its first and last possible day of birth.
#[derive(FromQueryResult)]
pub struct Young {
    pub kind: String,
    pub animal_id: Uuid,
    pub born_last: Option<chrono::NaiveDate>,
}

/// The young of an animal, as far as the caller may see them.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn young(snapshot: &Snapshot, animal: Uuid) -> Result<Vec<Young>, Error> {
    snapshot
        .rows(
            "SELECT p.kind, p.animal_id, b.born_last FROM parents p
               LEFT JOIN births b ON b.animal_id = p.animal_id AND b.superseded_at IS NULL
              WHERE p.parent_id = $1 AND p.superseded_at IS NULL ORDER BY b.born_last, p.animal_id",
            [animal.into()],
        )
        .await
}
