//! Merges: links between records of one animal. What stands of the animal, the views of the schema `standing` work
//! out from them; no fact is moved.

use crate::access::permit::Permit;
use crate::animals::code_of;
use crate::doors::{Snapshot, Tx};
use crate::entity::merge;
pub use crate::entity::merge::Model as Link;
use crate::error::Error;
use crate::facts::fact;
use crate::model::fact::{FactKind, Version};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use serde_json::Value;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What two records may contradict one another in, or say twice, or what goes with a holding, and where it is
/// read from: in the schema that stands before `{}`.
const KINDS: [(FactKind, &str); 17] = [
    (FactKind::Birth, "{}births"),
    (FactKind::Sex, "{}sexings"),
    (FactKind::Parent, "{}parents"),
    (FactKind::Accession, "{}accessions"),
    (FactKind::Holding, "{}holdings"),
    (FactKind::Title, "{}titles"),
    (FactKind::Loan, "{}loans"),
    (FactKind::Placement, "{}placements"),
    (FactKind::Membership, "{}memberships"),
    (FactKind::Mark, "{}marks"),
    (FactKind::LifeState, "{}life_states"),
    (FactKind::Paper, "{}papers"),
    (FactKind::Weight, "{}weights"),
    (FactKind::Assessment, "{}assessments"),
    (
        FactKind::Encounter,
        "(SELECT p.*, n.began_at, n.ended_at, n.superseded_at FROM {}encounter_animals p
            JOIN encounters n ON n.id = p.encounter_id)",
    ),
    (FactKind::ToldApart, "{}litter_changes"),
    (FactKind::Death, "{}deaths"),
];

/// A link to record.
pub struct New<'a> {
    pub gone: Uuid,
    pub kept: Uuid,
    pub because: &'a str,
    /// Facts that do not stand while it does, each with the record for which it does not.
    pub set_aside: &'a BTreeMap<Uuid, Uuid>,
}

/// Links a record to the one that is kept.
///
/// # Errors
/// [`Error::Broken`] where the record was given up already, or at the end of the write where the two contradict
/// one another; [`Error::Contention`] where others link them meanwhile.
pub async fn insert(tx: &mut Tx, permit: &Permit, new: New<'_>) -> Result<Uuid, Error> {
    let id = tx.new_id();
    let row = fact!(
        tx,
        merge::Model {
            id: id,
            animal_id: new.gone,
            site_id: permit.site().id,
            into_id: new.kept,
            set_aside: new.set_aside.keys().copied().collect(),
            aside_for: new.set_aside.values().copied().collect(),
            because: new.because.to_owned(),
        }
    );
    tx.insert(&[row]).await?;
    Ok(id)
}

/// What stands of an animal, under whatever record it was entered: each fact with the column `record_id`.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn facts(snapshot: &Snapshot, animal: Uuid) -> Result<Vec<Version>, Error> {
    of_each_kind(snapshot, animal, |from| {
        let view = from.replace("{}", "");
        format!("to_jsonb(f) AS row FROM {view} f WHERE f.animal_id = $1 AND f.superseded_at IS NULL")
    })
    .await
}

/// What links between the records of an animal set aside, as [`facts`] has what stands.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn aside(snapshot: &Snapshot, animal: Uuid) -> Result<Vec<Version>, Error> {
    of_each_kind(snapshot, animal, |from| {
        let table = from.replace("{}", "public.");
        format!(
            "to_jsonb(f) || jsonb_build_object('animal_id', $1, 'record_id', f.animal_id) AS row FROM {table} f
              WHERE f.animal_id = ANY (holt_records(ARRAY[$1]::uuid[])) AND f.superseded_at IS NULL
                AND holt_set_aside(f.id, $1)"
        )
    })
    .await
}

/// The same facts, each with the record for which it is set aside.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn asides(snapshot: &Snapshot, animal: Uuid) -> Result<BTreeMap<Uuid, Uuid>, Error> {
    Ok(between(snapshot, animal).await?.iter().flat_map(asides_of).collect())
}

/// What a link sets aside, each fact with the record for which it does.
fn asides_of(link: &Link) -> BTreeMap<Uuid, Uuid> {
    link.set_aside.iter().copied().zip(link.aside_for.iter().copied()).collect()
}

async fn of_each_kind(
    snapshot: &Snapshot,
    animal: Uuid,
    rows: impl Fn(&str) -> String,
) -> Result<Vec<Version>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        kind: i32,
        row: Value,
    }
    let each = KINDS
        .iter()
        .enumerate()
        .map(|(n, (_, from))| format!("SELECT {n} AS kind, f.recorded_at, f.id, {}", rows(from)));
    let sql = format!("{} ORDER BY kind, recorded_at, id", each.collect::<Vec<_>>().join(" UNION ALL "));
    let rows = snapshot.rows::<Row>(&sql, [animal.into()]).await?;
    rows.into_iter()
        .map(|found| {
            let kind = usize::try_from(found.kind).ok().and_then(|n| KINDS.get(n));
            match (kind, found.row) {
                (Some((kind, _)), Value::Object(row)) => Ok(Version { kind: *kind, row }),
                (_, other) => Err(Error::Fault(format!("a row is not an object: {other}"))),
            }
        })
        .collect()
}

/// A link that stands between records of an animal, by its identifier or by one that it had before it set more
/// aside.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn standing(snapshot: &Snapshot, animal: Uuid, id: Uuid) -> Result<Option<merge::Model>, Error> {
    let mut found = merge::Entity::find().filter(merge::Column::Id.eq(id)).one(snapshot.txn()).await?;
    while let Some(old) = found.take_if(|link| link.superseded_at.is_some()) {
        found = merge::Entity::find()
            .filter(merge::Column::AnimalId.eq(old.animal_id))
            .filter(merge::Column::IntoId.eq(old.into_id))
            .filter(merge::Column::RequestId.eq(old.superseded_in))
            .one(snapshot.txn())
            .await?;
    }
    let Some(link) = found else { return Ok(None) };
    Ok((animal_of(snapshot, link.into_id).await? == animal).then_some(link))
}

/// The link that stands by which a record was given up for another of the animal.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn giving_up(
    snapshot: &Snapshot,
    animal: Uuid,
    record: Uuid,
) -> Result<Option<merge::Model>, Error> {
    let links = between(snapshot, animal).await?;
    Ok(links.into_iter().find(|link| link.animal_id == record))
}

/// The animal that a record stands for.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn animal_of(snapshot: &Snapshot, record: Uuid) -> Result<Uuid, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
    }
    let rows = snapshot.rows::<Row>("SELECT holt_animal($1) AS animal_id", [record.into()]).await?;
    Ok(rows.first().map_or(record, |row| row.animal_id))
}

/// The record of an animal that goes by a text; the one that stands for it where that does, or where none is.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn named(snapshot: &Snapshot, animal: Uuid, text: &str) -> Result<Uuid, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
    }
    let sql = "SELECT r.id FROM unnest(holt_records(ARRAY[$1]::uuid[])) AS r (id)
                WHERE r.id::text = lower($2)
                   OR EXISTS (SELECT FROM public.accessions c WHERE c.animal_id = r.id AND c.superseded_at IS NULL
                                 AND c.number = upper($2))
                   OR EXISTS (SELECT FROM public.marks m WHERE m.animal_id = r.id AND m.superseded_at IS NULL
                                 AND m.folded IN (lower($2), lower($3)))
                ORDER BY r.id <> $1, r.id LIMIT 1";
    let values = [animal.into(), text.trim().into(), code_of(text).into()];
    let rows = snapshot.rows::<Row>(sql, values).await?;
    Ok(rows.first().map_or(animal, |row| row.id))
}

/// Whether a link between records of an animal sets a fact aside.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn sets_aside(snapshot: &Snapshot, animal: Uuid, fact: Uuid) -> Result<bool, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        aside: bool,
    }
    let values = [fact.into(), animal.into()];
    let rows = snapshot.rows::<Row>("SELECT holt_set_aside($1, $2) AS aside", values).await?;
    Ok(rows.first().is_some_and(|row| row.aside))
}

/// Ends a link: the record stands for itself again, and for those that were given up for it.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn end(tx: &mut Tx, link: &merge::Model, why: &str) -> Result<(), Error> {
    tx.supersede_of::<merge::Entity>(link.animal_id, link.id, why).await
}

/// Has the links between the records of an animal set these facts aside, each for a record, and no other. Answers false
/// where some are set aside by none of them yet, and the site has none to do it.
///
/// # Errors
/// [`Error::Contention`] where somebody changed one meanwhile.
pub async fn set_aside_only(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    facts: &BTreeMap<Uuid, Uuid>,
    why: &str,
) -> Result<bool, Error> {
    let mut left = facts.clone();
    let links = between(tx, animal).await?;
    let mut sets: Vec<BTreeMap<Uuid, Uuid>> = Vec::new();
    for link in &links {
        sets.push(link.set_aside.iter().filter_map(|fact| left.remove_entry(fact)).collect());
    }
    if !left.is_empty() {
        // What another site linked is its own to write.
        let own = links.iter().position(|link| link.site_id == permit.site().id);
        let Some(set) = own.and_then(|own| sets.get_mut(own)) else { return Ok(false) };
        set.extend(left);
    }
    // One new version each: a second one of the same request would hide the first from whoever follows them.
    for (old, set) in links.into_iter().zip(sets) {
        if set != asides_of(&old) {
            set_aside_by(tx, old, set, why).await?;
        }
    }
    Ok(true)
}

/// The links that stand between the records of an animal.
async fn between(snapshot: &Snapshot, animal: Uuid) -> Result<Vec<merge::Model>, Error> {
    let sql = "SELECT g.* FROM public.merges g
                WHERE g.animal_id = ANY (holt_records(ARRAY[$1]::uuid[])) AND g.animal_id <> $1
                  AND g.superseded_at IS NULL ORDER BY g.recorded_at, g.id";
    snapshot.rows(sql, [animal.into()]).await
}

/// The same link with other facts that it sets aside.
async fn set_aside_by(
    tx: &mut Tx,
    old: merge::Model,
    facts: BTreeMap<Uuid, Uuid>,
    why: &str,
) -> Result<(), Error> {
    tx.supersede_of::<merge::Entity>(old.animal_id, old.id, why).await?;
    let row = fact!(
        tx,
        merge::Model {
            id: tx.new_id(),
            animal_id: old.animal_id,
            site_id: old.site_id,
            into_id: old.into_id,
            set_aside: facts.keys().copied().collect(),
            aside_for: facts.values().copied().collect(),
            because: old.because,
        }
    );
    tx.insert(&[row]).await
}

/// The litters out of which one of these facts says that a young was told apart.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn litters(snapshot: &Snapshot, facts: &[Uuid]) -> Result<Vec<Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        litter_id: Uuid,
    }
    let sql = "SELECT DISTINCT c.litter_id FROM public.litter_changes c WHERE c.id = ANY ($1) ORDER BY 1";
    let rows = snapshot.rows::<Row>(sql, [facts.to_vec().into()]).await?;
    Ok(rows.into_iter().map(|row| row.litter_id).collect())
}

/// Whether enough young are left in a litter, on each day, as its changes stand now. Where they are not, the write
/// is over.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn litter_holds_out(tx: &Tx, litter: Uuid) -> Result<bool, Error> {
    match tx.execute("SELECT holt_litter_counts($1)", [litter.into()]).await {
        Ok(_) => Ok(true),
        Err(Error::Broken(guard)) if guard.name == "litter_changes_holds_out_guard" => Ok(false),
        Err(other) => Err(other),
    }
}
