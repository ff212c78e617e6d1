//! Groups, and who belongs to them.

use crate::access::permit::Permit;
use crate::animals::Lens;
use crate::doors::{Snapshot, Tx};
use crate::entity::{group, membership};
use crate::error::Error;
use crate::facts::{covers, fact, known};
use crate::filter::Filter;
use crate::model::group::{Group, Membership, Parents, Role};
use crate::model::page::{Page, Slice};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Counts;
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use std::collections::HashMap;
use uuid::Uuid;

fn role(text: &str) -> Result<Role, Error> {
    Role::ALL
        .into_iter()
        .find(|role| role.as_str() == text)
        .ok_or_else(|| Error::corrupt("memberships", "role", text))
}

/// Adds a group.
///
/// # Errors
/// [`Error::Broken`] where the site has one of that name.
pub async fn insert(tx: &mut Tx, permit: &Permit, name: &str, note: &str) -> Result<Group, Error> {
    let row = group::Model {
        id: tx.new_id(),
        site_id: permit.site().id,
        name: name.to_owned(),
        note: note.to_owned(),
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(std::slice::from_ref(&row)).await?;
    Ok(Group {
        id: row.id,
        site: permit.site().code.clone(),
        name: row.name,
        note: row.note,
        members: Counts::ZERO,
        enclosures: Vec::new(),
    })
}

/// Which groups are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Name, in any case, or identifier.
    pub named: Option<String>,
    /// Also those without a member at the instant.
    pub empty: bool,
}

/// Groups of a site through a lens, by name.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: &Wanted,
    lens: Lens,
    page: &Page,
) -> Result<Slice<Group>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        name: String,
        note: String,
        males: i64,
        females: i64,
        unknown: i64,
        enclosures: Vec<String>,
    }
    let mut filter = Filter::after([
        permit.site().id.into(),
        snapshot.known_at().into(),
        lens.at.into(),
        lens.day.into(),
        page.after.clone().unwrap_or_default().into(),
    ]);
    filter.and(
        "(lower(g.name) = lower(?) OR g.id::text = lower(?))",
        wanted.named.as_ref().map(|name| [name.clone().into(), name.clone().into()]),
    );
    filter.and("m.number > ?", (!wanted.empty).then(|| [0_i64.into()]));
    let (filter, limit, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT g.id, g.name, g.note, m.males, m.females, m.unknown, m.enclosures
           FROM groups g
           JOIN LATERAL (
             SELECT count(*) AS number,
                    count(*) FILTER (WHERE s.sex = 'male') AS males,
                    count(*) FILTER (WHERE s.sex = 'female') AS females,
                    count(*) FILTER (WHERE s.sex IS NULL OR s.sex = 'unknown') AS unknown,
                    coalesce(array_agg(DISTINCT e.name) FILTER (WHERE e.name IS NOT NULL), '{{}}') AS enclosures
               FROM memberships x
               LEFT JOIN LATERAL (SELECT y.sex FROM sexings y
                    WHERE y.animal_id = x.animal_id AND {known_y} AND y.determined_on <= $4
                    ORDER BY y.determined_on DESC LIMIT 1) s ON true
               LEFT JOIN placements p ON p.animal_id = x.animal_id AND {known_p} AND {covers_p}
               LEFT JOIN enclosures e ON e.id = p.enclosure_id
              WHERE x.site_id = $1 AND x.group_id = g.id AND {known_x} AND {covers_x}
           ) m ON true
          WHERE g.site_id = $1 AND g.recorded_at <= $2 AND ($5 = '' OR lower(g.name) > $5){filter}
          ORDER BY lower(g.name) LIMIT ${limit}",
        known_y = known("y", 2),
        known_p = known("p", 2),
        covers_p = covers("p", 3),
        known_x = known("x", 2),
        covers_x = covers("x", 3),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let groups = rows.into_iter().map(|row| Group {
        id: row.id,
        site: permit.site().code.clone(),
        name: row.name,
        note: row.note,
        members: Counts { males: row.males, females: row.females, unknown: row.unknown },
        enclosures: row.enclosures,
    });
    Ok(Slice::cut(groups.collect(), page, |group: &Group| group.name.to_lowercase()))
}

/// Memberships of a group that cover an instant.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn members(
    snapshot: &Snapshot,
    permit: &Permit,
    group: Uuid,
    at: DateTime<Utc>,
) -> Result<Vec<Membership>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        role: String,
        began_at: DateTime<Utc>,
    }
    let sql = format!(
        "SELECT m.animal_id, m.role, m.began_at FROM memberships m
          WHERE m.site_id = $1 AND {} AND {} AND m.group_id = $4 ORDER BY m.animal_id",
        known("m", 2),
        covers("m", 3),
    );
    let values = [permit.site().id.into(), snapshot.known_at().into(), at.into(), group.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Membership { animal: row.animal_id, group, role: role(&row.role)?, began_at: row.began_at })
        })
        .collect()
}

/// A stretch of time for which an animal belonged to a group.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    pub animal: Uuid,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
}

impl Stretch {
    /// Whether it covers an instant.
    #[must_use]
    pub fn covers(&self, at: DateTime<Utc>) -> bool {
        self.began_at <= at && self.ended_at.is_none_or(|end| at < end)
    }
}

/// Memberships of a group that meet a stretch of time.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn stretches(
    snapshot: &Snapshot,
    permit: &Permit,
    group: Uuid,
    (from, until): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Stretch>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        began_at: DateTime<Utc>,
        ended_at: Option<DateTime<Utc>>,
    }
    let sql = format!(
        "SELECT m.animal_id, m.began_at, m.ended_at FROM memberships m
          WHERE m.site_id = $1 AND {} AND m.group_id = $3 AND m.began_at <= $5
            AND (m.ended_at IS NULL OR m.ended_at > $4)
          ORDER BY m.animal_id, m.began_at",
        known("m", 2),
    );
    let values =
        [permit.site().id.into(), snapshot.known_at().into(), group.into(), from.into(), until.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows
        .into_iter()
        .map(|row| Stretch { animal: row.animal_id, began_at: row.began_at, ended_at: row.ended_at })
        .collect())
}

/// Memberships of all groups of a site that cover an instant: group, its name, animal.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all_members(
    snapshot: &Snapshot,
    permit: &Permit,
    at: DateTime<Utc>,
) -> Result<Vec<(Uuid, String, Uuid)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        group_id: Uuid,
        name: String,
        animal_id: Uuid,
    }
    let sql = format!(
        "SELECT m.group_id, g.name, m.animal_id FROM memberships m JOIN groups g ON g.id = m.group_id
          WHERE m.site_id = $1 AND {} AND {} ORDER BY g.name, m.animal_id",
        known("m", 2),
        covers("m", 3),
    );
    let values = [permit.site().id.into(), snapshot.known_at().into(), at.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows.into_iter().map(|row| (row.group_id, row.name, row.animal_id)).collect())
}

/// A stretch in which an animal belonged to a group in one role.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stay {
    pub animal: Uuid,
    pub role: Role,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
    pub ended_why: String,
}

/// Who belonged to a group at some time of a stretch, by animal and time.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn stays(
    snapshot: &Snapshot,
    permit: &Permit,
    group: Uuid,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Vec<Stay>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        role: String,
        began_at: DateTime<Utc>,
        ended_at: Option<DateTime<Utc>>,
        ended_why: String,
    }
    let sql = format!(
        "SELECT m.animal_id, m.role, m.began_at, m.ended_at, m.ended_why FROM memberships m
          WHERE m.site_id = $1 AND m.group_id = $3 AND {} AND m.began_at <= $5
            AND (m.ended_at IS NULL OR m.ended_at > $4)
          ORDER BY m.animal_id, m.began_at",
        known("m", 2),
    );
    let values =
        [permit.site().id.into(), snapshot.known_at().into(), group.into(), from.into(), until.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Stay {
                animal: row.animal_id,
                role: role(&row.role)?,
                began_at: row.began_at,
                ended_at: row.ended_at,
                ended_why: row.ended_why,
            })
        })
        .collect()
}

/// Young born to these dams from a day on, litters and animals alike: dam and day, each once.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn births(
    snapshot: &Snapshot,
    permit: &Permit,
    dams: &[Uuid],
    since: NaiveDate,
) -> Result<Vec<(Uuid, NaiveDate)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        dam: Uuid,
        born_on: NaiveDate,
    }
    let sql = format!(
        "SELECT p.parent_id AS dam, l.born_on FROM litters l
           JOIN litter_parents p ON p.litter_id = l.id AND p.kind = 'dam' AND {known_p}
          WHERE l.site_id = $1 AND l.recorded_at <= $2 AND p.parent_id = ANY ($3) AND l.born_on >= $4
         UNION
         SELECT q.parent_id, b.born_last FROM births b
           JOIN parents q ON q.animal_id = b.animal_id AND q.kind = 'dam' AND {known_q}
          WHERE {known_b} AND q.parent_id = ANY ($3) AND b.born_last >= $4
          ORDER BY 1, 2",
        known_p = known("p", 2),
        known_q = known("q", 2),
        known_b = known("b", 2),
    );
    let values = [permit.site().id.into(), snapshot.known_at().into(), dams.to_vec().into(), since.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows.into_iter().map(|row| (row.dam, row.born_on)).collect())
}

/// Known parents of these animals.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn parents(snapshot: &Snapshot, animals: &[Uuid]) -> Result<HashMap<Uuid, Parents>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        parent_id: Uuid,
        kind: String,
    }
    let sql = format!(
        "SELECT p.animal_id, p.parent_id, p.kind FROM parents p
          WHERE p.animal_id = ANY ($1) AND {} ORDER BY p.animal_id, p.share DESC, p.id",
        known("p", 2)
    );
    let mut parents: HashMap<Uuid, Parents> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, [animals.to_vec().into(), snapshot.known_at().into()]).await? {
        let of = parents.entry(row.animal_id).or_default();
        if row.kind == "dam" { of.dam = Some(row.parent_id) } else { of.sires.push(row.parent_id) }
    }
    Ok(parents)
}

/// The memberships of these animals that are open.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn open(tx: &Tx, animals: &[Uuid]) -> Result<Vec<membership::Model>, Error> {
    Ok(membership::Entity::find()
        .filter(membership::Column::AnimalId.is_in(animals.iter().copied()))
        .filter(membership::Column::SupersededAt.is_null())
        .filter(membership::Column::EndedAt.is_null())
        .all(tx.txn())
        .await?)
}

/// Takes animals into a group from an instant on.
///
/// # Errors
/// [`Error::Broken`] where one belongs to a group at that time.
pub async fn begin(
    tx: &mut Tx,
    permit: &Permit,
    group: Uuid,
    animals: &[Uuid],
    role: Role,
    at: DateTime<Utc>,
) -> Result<(), Error> {
    let rows: Vec<_> = animals
        .iter()
        .map(|&animal| {
            fact!(
                tx,
                membership::Model {
                    id: tx.new_id(),
                    animal_id: animal,
                    site_id: permit.site().id,
                    group_id: group,
                    role: role.as_str().to_owned(),
                    began_at: at,
                    ended_at: None,
                    ended_why: String::new(),
                }
            )
        })
        .collect();
    tx.insert(&rows).await
}

/// Ends the membership of an animal that is open, if one is.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn end(tx: &mut Tx, animal: Uuid, at: DateTime<Utc>, why: &str) -> Result<(), Error> {
    for membership in open(tx, &[animal]).await? {
        close(tx, membership, at, why).await?;
    }
    Ok(())
}

/// Ends one open membership.
///
/// # Errors
/// [`Error::Contention`] where somebody ended it meanwhile.
pub async fn close(tx: &mut Tx, open: membership::Model, at: DateTime<Utc>, why: &str) -> Result<(), Error> {
    tx.supersede::<membership::Entity>(open.id, "ended").await?;
    // A membership that would end as it began, or before, never was.
    if at <= open.began_at {
        return Ok(());
    }
    let row = fact!(
        tx,
        membership::Model {
            id: tx.new_id(),
            animal_id: open.animal_id,
            site_id: open.site_id,
            group_id: open.group_id,
            role: open.role,
            began_at: open.began_at,
            ended_at: Some(at),
            ended_why: why.to_owned(),
        }
    );
    tx.insert(&[row]).await
}
