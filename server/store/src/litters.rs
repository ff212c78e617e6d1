//! Litters, their parents, and what happened to their counts.

use crate::access::permit::Permit;
use crate::animals::{Lens, Parent, parent_kind};
use crate::deaths;
use crate::doors::{Snapshot, Tx};
use crate::entity::{litter, litter_change, litter_parent};
use crate::error::Error;
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::animal::Label;
use crate::model::death::Manner;
use crate::model::litter::{Change, Changed, Litter, NewLitter, PossibleSire};
use crate::model::page::{Page, Slice};
use crate::model::taxon::Taxon;
use crate::taxa::{self, Described};
use crate::weights::label;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::{Counts, Sex};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use std::collections::HashMap;
use uuid::Uuid;

/// Adds a litter with its parents and the young that were born.
///
/// # Errors
/// [`Error::Broken`] where one animal is named as a sire twice.
pub async fn insert(
    tx: &mut Tx,
    permit: &Permit,
    taxon: &Taxon,
    new: &NewLitter,
    parents: &[Parent],
) -> Result<Uuid, Error> {
    let (id, site) = (tx.new_id(), permit.site().id);
    let row = litter::Model {
        id,
        site_id: site,
        taxon_id: taxon.id,
        born_on: new.born_on,
        note: new.note.clone(),
        version: 1,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await?;
    insert_parents(tx, permit, id, parents).await?;
    insert_change(tx, permit, id, new.born_on, &Change::Born(new.young), "").await?;
    Ok(id)
}

async fn insert_parents(tx: &mut Tx, permit: &Permit, litter: Uuid, parents: &[Parent]) -> Result<(), Error> {
    let rows: Vec<_> = parents
        .iter()
        .map(|parent| {
            fact!(
                tx,
                litter_parent::Model {
                    id: tx.new_id(),
                    litter_id: litter,
                    site_id: permit.site().id,
                    parent_id: parent.id,
                    kind: parent_kind(parent.sex).to_owned(),
                    share: parent.share,
                    because: parent.because.clone(),
                }
            )
        })
        .collect();
    tx.insert(&rows).await
}

/// Puts other parents in the place of those on record.
///
/// # Errors
/// [`Error::Broken`] where one animal is named as a sire twice; [`Error::Contention`] where somebody changed
/// them meanwhile.
pub async fn replace_parents(
    tx: &mut Tx,
    permit: &Permit,
    litter: Uuid,
    parents: &[Parent],
    why: &str,
) -> Result<(), Error> {
    let standing = litter_parent::Entity::find()
        .filter(litter_parent::Column::LitterId.eq(litter))
        .filter(litter_parent::Column::SupersededAt.is_null())
        .all(tx.txn())
        .await?;
    for old in standing {
        tx.supersede::<litter_parent::Entity>(old.id, why).await?;
    }
    insert_parents(tx, permit, litter, parents).await
}

/// Strikes out a change of a litter's count.
///
/// # Errors
/// [`Error::Broken`] at the end of the write where too few young are left then; [`Error::Contention`] where
/// somebody struck it out meanwhile.
pub async fn strike_change(tx: &mut Tx, change: Uuid, why: &str) -> Result<(), Error> {
    tx.supersede::<litter_change::Entity>(change, why).await
}

/// Adds a change of a litter's count.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert_change(
    tx: &mut Tx,
    permit: &Permit,
    litter: Uuid,
    on: NaiveDate,
    change: &Change,
    note: &str,
) -> Result<(), Error> {
    let (kind, young, animal, manner) = match change {
        Change::Born(young) => ("born", *young, None, ""),
        Change::Died(young, manner) => ("died", *young, None, manner.as_str()),
        Change::Sexed { males, females } => {
            ("sexed", Counts { males: *males, females: *females, unknown: 0 }, None, "")
        }
        Change::ToldApart { counted_as, animal } => {
            ("told_apart", Counts::of(*counted_as, 1), Some(animal.id), "")
        }
    };
    let row = fact!(
        tx,
        litter_change::Model {
            id: tx.new_id(),
            litter_id: litter,
            site_id: permit.site().id,
            kind: kind.to_owned(),
            happened_on: on,
            males: young.males,
            females: young.females,
            unknown: young.unknown,
            animal_id: animal,
            manner: manner.to_owned(),
            note: note.to_owned(),
        }
    );
    tx.insert(&[row]).await
}

/// Locks a litter of a site against anybody else who changes it; false where there is none.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn lock(tx: &Tx, permit: &Permit, id: Uuid) -> Result<bool, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        #[expect(dead_code, reason = "that it is there is all that is asked")]
        id: Uuid,
    }
    let rows = tx
        .rows::<Row>(
            "SELECT id FROM litters WHERE id = $1 AND site_id = $2 FOR NO KEY UPDATE",
            [id.into(), permit.site().id.into()],
        )
        .await?;
    Ok(!rows.is_empty())
}

/// Counts a change.
///
/// # Errors
/// [`Error::Contention`] where the litter is not there any more.
pub async fn bump(tx: &mut Tx, id: Uuid) -> Result<(), Error> {
    #[derive(FromQueryResult)]
    struct Version {
        version: i64,
    }
    let rows = tx
        .rows::<Version>(
            "UPDATE litters SET version = version + 1 WHERE id = $1 RETURNING version",
            [id.into()],
        )
        .await?;
    let version = rows.first().map(|row| row.version).ok_or(Error::Contention)?;
    tx.note_change::<litter::Entity>(&id.to_string(), &serde_json::json!({ "version": version }));
    Ok(())
}

/// Which litters are wanted.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted {
    pub id: Option<Uuid>,
    /// Also those in which no young was left on the day.
    pub empty: bool,
}

/// What changes `c` leave of each sex, as SQL.
const LEFT: [&str; 3] = [
    "sum(CASE c.kind WHEN 'born' THEN c.males WHEN 'sexed' THEN c.males ELSE -c.males END)::bigint",
    "sum(CASE c.kind WHEN 'born' THEN c.females WHEN 'sexed' THEN c.females ELSE -c.females END)::bigint",
    "sum(CASE c.kind WHEN 'born' THEN c.unknown WHEN 'sexed' THEN -c.males - c.females
                     ELSE -c.unknown END)::bigint",
];

/// Litters of a site as of the day of a lens, youngest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: Wanted,
    lens: Lens,
    page: &Page,
) -> Result<Slice<Litter>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        born_on: NaiveDate,
        note: String,
        version: i64,
        #[sea_orm(nested)]
        taxon: Described,
    }
    let mut filter = Filter::after([
        permit.site().id.into(),
        snapshot.known_at().into(),
        lens.day.into(),
        page.after.clone().unwrap_or_default().into(),
    ]);
    filter.and("l.id = ?", wanted.id.map(|id| [id.into()]));
    let left = format!(
        "(SELECT {} FROM litter_changes c WHERE c.litter_id = l.id AND {} AND c.happened_on <= $3) > ?",
        LEFT.join(" + "),
        known("c", 2)
    );
    filter.and(&left, (!wanted.empty).then(|| [0_i64.into()]));
    let (filter, limit, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT l.id, l.born_on, l.note, l.version, {taxon} FROM litters l {described}
          WHERE l.site_id = $1 AND l.recorded_at <= $2 AND l.born_on <= $3
            AND ($4 = '' OR (l.born_on::text || l.id::text) < $4){filter}
          ORDER BY l.born_on DESC, l.id DESC LIMIT ${limit}",
        taxon = taxa::COLUMNS,
        described = taxa::described("l.taxon_id", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let page_of = Slice::cut(rows, page, |row| format!("{}{}", row.born_on, row.id));
    let ids: Vec<Uuid> = page_of.entries.iter().map(|row| row.id).collect();
    let mut parents = parents(snapshot, &ids).await?;
    let mut changes = changes(snapshot, &ids, lens.day).await?;
    let entries = page_of.entries.into_iter().map(|row| {
        let parents = parents.remove(&row.id).unwrap_or_default();
        let because = parents.iter().find(|parent| !parent.because.is_empty());
        Ok(Litter {
            id: row.id,
            site: permit.site().code.clone(),
            taxon: row.taxon.taxon()?,
            born_on: row.born_on,
            parents_because: because.map(|parent| parent.because.clone()).unwrap_or_default(),
            dam: parents.iter().find(|parent| parent.kind == "dam").map(|dam| dam.animal.clone()),
            sires: parents
                .into_iter()
                .filter(|parent| parent.kind == "sire")
                .map(|sire| PossibleSire { animal: sire.animal, share: sire.share })
                .collect(),
            changes: changes.remove(&row.id).unwrap_or_default(),
            note: row.note,
            version: row.version,
        })
    });
    Ok(Slice { entries: entries.collect::<Result<_, Error>>()?, next: page_of.next })
}

/// A parent of a litter.
struct Known {
    kind: String,
    animal: Label,
    share: f64,
    because: String,
}

/// Parents of these litters, likeliest first.
async fn parents(snapshot: &Snapshot, ids: &[Uuid]) -> Result<HashMap<Uuid, Vec<Known>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        litter_id: Uuid,
        kind: String,
        animal_id: Uuid,
        share: f64,
        because: String,
        accession: Option<String>,
        house_name: Option<String>,
    }
    let sql = format!(
        "SELECT p.litter_id, p.kind, p.animal_id, p.share, p.because, {label}
           FROM (SELECT x.litter_id, x.kind, x.parent_id AS animal_id, x.site_id, x.share, x.because, x.id
                   FROM litter_parents x WHERE x.litter_id = ANY ($1) AND {known_x}) p
          ORDER BY p.litter_id, p.share DESC, p.id",
        label = label("p", 2),
        known_x = known("x", 2),
    );
    let mut parents: HashMap<Uuid, Vec<Known>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, [ids.to_vec().into(), snapshot.known_at().into()]).await? {
        let animal = Label {
            id: row.animal_id,
            accession: row.accession.unwrap_or_default(),
            house_name: row.house_name.unwrap_or_default(),
        };
        let known = Known { kind: row.kind, animal, share: row.share, because: row.because };
        parents.entry(row.litter_id).or_default().push(known);
    }
    Ok(parents)
}

/// What happened in these litters until the close of a day, in the order of days; within a day, in the
/// order in which it was recorded, but births first.
async fn changes(
    snapshot: &Snapshot,
    ids: &[Uuid],
    until: NaiveDate,
) -> Result<HashMap<Uuid, Vec<Changed>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        litter_id: Uuid,
        kind: String,
        happened_on: NaiveDate,
        males: i64,
        females: i64,
        unknown: i64,
        animal_id: Option<Uuid>,
        manner: String,
        note: String,
        recorded_at: DateTime<Utc>,
        accession: Option<String>,
        house_name: Option<String>,
    }
    let sql = format!(
        "SELECT c.id, c.litter_id, c.kind, c.happened_on, c.males, c.females, c.unknown, c.animal_id,
                c.manner, c.note, c.recorded_at, {label}
           FROM litter_changes c
          WHERE c.litter_id = ANY ($1) AND {known_c} AND c.happened_on <= $3
          ORDER BY c.litter_id, c.happened_on, c.kind <> 'born', c.recorded_at, c.id",
        label = label("c", 2),
        known_c = known("c", 2),
    );
    let values = [ids.to_vec().into(), snapshot.known_at().into(), until.into()];
    let mut changes: HashMap<Uuid, Vec<Changed>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, values).await? {
        let young = Counts { males: row.males, females: row.females, unknown: row.unknown };
        let label = row.animal_id.map(|id| Label {
            id,
            accession: row.accession.unwrap_or_default(),
            house_name: row.house_name.unwrap_or_default(),
        });
        let change = change(&row.kind, young, &row.manner, label)?;
        changes.entry(row.litter_id).or_default().push(Changed {
            id: row.id,
            on: row.happened_on,
            change,
            note: row.note,
            recorded_at: row.recorded_at,
        });
    }
    Ok(changes)
}

/// A change as it is stored.
fn change(kind: &str, young: Counts, manner: &str, animal: Option<Label>) -> Result<Change, Error> {
    let of_sex =
        || [Sex::Male, Sex::Female, Sex::Unknown].into_iter().find(|sex| Counts::of(*sex, 1) == young);
    match (kind, animal) {
        ("born", None) => Ok(Change::Born(young)),
        ("died", None) => Ok(Change::Died(young, manner_of(manner)?)),
        ("sexed", None) => Ok(Change::Sexed { males: young.males, females: young.females }),
        ("told_apart", Some(animal)) => Ok(Change::ToldApart {
            counted_as: of_sex().ok_or_else(|| Error::corrupt("litter_changes", "males", &young))?,
            animal,
        }),
        (other, _) => Err(Error::corrupt("litter_changes", "kind", other)),
    }
}

fn manner_of(text: &str) -> Result<Manner, Error> {
    deaths::manner(text).ok_or_else(|| Error::corrupt("litter_changes", "manner", text))
}

/// Young of each species that are counted in the litters of a site at the close of a day.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn counted(
    snapshot: &Snapshot,
    permit: &Permit,
    day: NaiveDate,
) -> Result<Vec<(Taxon, Counts)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        #[sea_orm(nested)]
        taxon: Described,
        males: i64,
        females: i64,
        unknown: i64,
    }
    let [males, females, unknown] = LEFT;
    let sql = format!(
        "SELECT {taxon}, {males} AS males, {females} AS females, {unknown} AS unknown
           FROM litters l {described}
           JOIN litter_changes c ON c.litter_id = l.id AND {known_c} AND c.happened_on <= $3
          WHERE l.site_id = $1 GROUP BY t.id",
        taxon = taxa::COLUMNS,
        described = taxa::described("l.taxon_id", 2),
        known_c = known("c", 2),
    );
    let values = [permit.site().id.into(), snapshot.known_at().into(), day.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let counted = rows.into_iter().map(|row| {
        let young = Counts { males: row.males, females: row.females, unknown: row.unknown };
        Ok((row.taxon.taxon()?, young))
    });
    let counted: Vec<(Taxon, Counts)> = counted.collect::<Result<_, Error>>()?;
    Ok(counted.into_iter().filter(|(_, young)| *young != Counts::ZERO).collect())
}
