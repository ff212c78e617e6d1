//! Animals: which one is meant, and what is known of it.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{animal, birth, parent, sexing};
use crate::error::Error;
use crate::facts::{covers, fact, known};
use crate::model::animal::{Animal, Born, Filter, Label, Status};
use crate::model::holding::Ended;
use crate::model::kinship::Known;
use crate::model::mark::Mark;
use crate::model::page::{Page, Slice};
use crate::model::taxon::Taxon;
use crate::taxa::{self, Described};
use crate::{deaths, holdings, marks};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::{Mass, Sex};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use serde::Serialize;
use std::collections::HashMap;
use uuid::Uuid;

/// As of when, and in which site's terms, animals are looked at.
#[derive(Clone, Copy, Debug)]
pub struct Lens {
    /// The site whose accession and books are meant; none: whoever holds the animal.
    pub site: Option<Uuid>,
    /// As of this instant.
    pub at: DateTime<Utc>,
    /// The day of that instant.
    pub day: NaiveDate,
}

/// A reference to an animal, as people write it, and the instant at which it is to hold.
#[derive(Clone, Debug)]
pub struct Reference {
    pub text: String,
    pub at: DateTime<Utc>,
}

/// Which animal a reference means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Meant {
    One(Label),
    /// Several go by it.
    Several(Vec<Label>),
    Nobody,
}

/// How the rows of the animals that are meant are locked until the write ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lock {
    /// Against a change of holder; others may do the same at the same time.
    Share,
    /// Against anybody else who changes the animal.
    Change,
}

/// A sex as it is stored.
#[must_use]
pub const fn sex_text(sex: Sex) -> &'static str {
    match sex {
        Sex::Male => "male",
        Sex::Female => "female",
        Sex::Unknown => "unknown",
    }
}

pub(super) fn sex(text: &str) -> Result<Sex, Error> {
    match text {
        "male" => Ok(Sex::Male),
        "female" => Ok(Sex::Female),
        "unknown" => Ok(Sex::Unknown),
        other => Err(Error::corrupt("sexings", "sex", other)),
    }
}

/// What is recorded of an animal at its first site.
pub struct First {
    pub taxon: Uuid,
    pub sex: Sex,
    /// Day from which the sex counts.
    pub sexed_on: NaiveDate,
    pub born: Option<Born>,
    pub parents: Vec<Parent>,
}

/// A parent of an animal or of a litter.
#[derive(Clone, Debug)]
pub struct Parent {
    pub id: Uuid,
    /// The sex of the part that it has: a dam is female.
    pub sex: Sex,
    /// How likely it is the one.
    pub share: f64,
    /// Why it is accepted although it does not fit by the records; empty where it fits.
    pub because: String,
    pub known: Known,
}

/// Its part, as it is stored.
pub(super) const fn parent_kind(sex: Sex) -> &'static str {
    if matches!(sex, Sex::Female) { "dam" } else { "sire" }
}

/// Adds an animal and what is known of it; its holding and the rest are for their own files.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(tx: &mut Tx, permit: &Permit, first: &First) -> Result<Uuid, Error> {
    let site = permit.site().id;
    let id = tx.new_id();
    let row = animal::Model {
        id,
        site_id: site,
        taxon_id: first.taxon,
        version: 1,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await?;
    let row = fact!(
        tx,
        birth::Model {
            id: tx.new_id(),
            animal_id: id,
            site_id: site,
            born_first: first.born.map(|born| born.first),
            born_last: first.born.map(|born| born.last),
            estimated: first.born.is_some_and(|born| born.estimated),
        }
    );
    tx.insert(&[row]).await?;
    insert_sex(tx, permit, id, first.sex, first.sexed_on).await?;
    insert_parents(tx, permit, id, &first.parents).await?;
    Ok(id)
}

/// Records parents of an animal; answers the identifiers of the facts.
///
/// # Errors
/// [`Error::Broken`] where it has such a parent on record, or would be its own ancestor.
pub async fn insert_parents(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    parents: &[Parent],
) -> Result<Vec<Uuid>, Error> {
    let rows: Vec<_> =
        parents.iter().map(|parent| parent_row(tx, animal, permit.site().id, parent)).collect();
    tx.insert(&rows).await?;
    Ok(rows.iter().map(|row| row.id).collect())
}

pub(super) fn parent_row(tx: &Tx, animal: Uuid, site: Uuid, parent: &Parent) -> parent::Model {
    fact!(
        tx,
        parent::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: site,
            parent_id: parent.id,
            kind: parent_kind(parent.sex).to_owned(),
            share: parent.share,
            because: parent.because.clone(),
            known_by: parent.known.by.as_str().to_owned(),
            note: parent.known.note.clone(),
        }
    )
}

/// Records a sex from a day on; what was recorded for the same day is superseded.
///
/// # Errors
/// [`Error::Contention`] where somebody did the same meanwhile.
pub async fn insert_sex(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    sex: Sex,
    on: NaiveDate,
) -> Result<(), Error> {
    let same_day = sexing::Entity::find()
        .filter(sexing::Column::AnimalId.eq(animal))
        .filter(sexing::Column::DeterminedOn.eq(on))
        .filter(sexing::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    if let Some(same_day) = same_day {
        tx.supersede_of::<sexing::Entity>(animal, same_day.id, "determined again").await?;
    }
    let row = fact!(
        tx,
        sexing::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: permit.site().id,
            sex: sex_text(sex).to_owned(),
            determined_on: on,
        }
    );
    tx.insert(&[row]).await
}

/// Counts a change of identity, holding or marks; answers the new version.
///
/// # Errors
/// [`Error::Contention`] where the animal is not there any more.
pub async fn bump(tx: &mut Tx, animal: Uuid) -> Result<i64, Error> {
    #[derive(FromQueryResult)]
    struct Version {
        version: i64,
    }
    let rows = tx
        .rows::<Version>(
            "UPDATE animals SET version = version + 1 WHERE id = $1 RETURNING version",
            [animal.into()],
        )
        .await?;
    let version = rows.first().map(|row| row.version).ok_or(Error::Contention)?;
    tx.note_change::<animal::Entity>(&animal.to_string(), &serde_json::json!({ "version": version }));
    Ok(version)
}

/// The version of an animal.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn version(snapshot: &Snapshot, animal: Uuid) -> Result<i64, Error> {
    #[derive(FromQueryResult)]
    struct Version {
        version: i64,
    }
    let rows = snapshot.rows::<Version>("SELECT version FROM animals WHERE id = $1", [animal.into()]).await?;
    Ok(rows.first().map_or(0, |row| row.version))
}

/// Finds the animals that references mean, in the terms of a site: by identifier, accession number, or a
/// mark. What the site held then goes before what it did not, and a mark in force then before one that
/// had ended: the dead are still spoken of by name.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn resolve(
    snapshot: &Snapshot,
    permit: Option<&Permit>,
    references: &[Reference],
) -> Result<Vec<Meant>, Error> {
    found(snapshot, permit, references, None).await
}

/// The same, and locks their rows.
///
/// # Errors
/// [`Error::Contention`] where one was changed while this waited for it, or by a write that was stamped later than this
/// one: what is known of it would not be what stands. [`Error::Lost`] where the database is away.
pub async fn lock(
    tx: &Tx,
    permit: &Permit,
    references: &[Reference],
    lock: Lock,
) -> Result<Vec<Meant>, Error> {
    found(tx, Some(permit), references, Some((lock, tx.now()))).await
}

async fn found(
    snapshot: &Snapshot,
    permit: Option<&Permit>,
    references: &[Reference],
    lock: Option<(Lock, DateTime<Utc>)>,
) -> Result<Vec<Meant>, Error> {
    #[derive(Serialize)]
    struct Asked<'a> {
        n: usize,
        id: Option<Uuid>,
        text: &'a str,
        code: String,
        at: DateTime<Utc>,
    }
    #[derive(FromQueryResult)]
    struct Row {
        n: i32,
        animal_id: Uuid,
        in_force: bool,
        held: bool,
        passed: bool,
        accession: Option<String>,
        house_name: Option<String>,
    }
    let asked: Vec<Asked> = references
        .iter()
        .enumerate()
        .map(|(n, reference)| {
            let text = reference.text.trim();
            Asked { n, id: text.parse().ok(), text, code: code_of(text), at: reference.at }
        })
        .collect();
    let (locking, now) = match lock {
        None => ("", None),
        Some((Lock::Share, now)) => ("FOR KEY SHARE", Some(now)),
        Some((Lock::Change, now)) => ("FOR UPDATE", Some(now)),
    };
    let sql = format!(
        "WITH asked AS MATERIALIZED (
           -- What is compared is made here: row-level security keeps conditions on lower() from the indexes.
           SELECT r.n, r.id, r.at, upper(r.text) AS number, lower(r.text) AS folded, lower(r.code) AS folded_code
             FROM jsonb_to_recordset($1) AS r (n int, id uuid, text text, code text, at timestamptz)
         ), named AS (
           -- Each part is fenced (OFFSET): the planner takes a list of references for a long one, and would ask of every
           -- animal, number and mark that there is whether it may be seen.
           SELECT q.n, a.id AS animal_id, q.at, true AS in_force FROM asked q
            CROSS JOIN LATERAL (SELECT x.id FROM animals x WHERE x.id = q.id OFFSET 0) a
           UNION
           SELECT q.n, c.animal_id, q.at, true FROM asked q
            CROSS JOIN LATERAL (SELECT c.animal_id FROM public.accessions c
                                 WHERE c.number = q.number AND {known_c} OFFSET 0) c
           UNION
           SELECT q.n, m.animal_id, q.at, bool_or(m.ended_at IS NULL OR m.ended_at > q.at) FROM asked q
            CROSS JOIN LATERAL (VALUES (q.folded), (q.folded_code)) AS written (folded)
            CROSS JOIN LATERAL (SELECT m.* FROM public.marks m WHERE m.folded = written.folded AND {known_m} OFFSET 0) m
            WHERE m.kind IN ('transponder', 'ring', 'tattoo', 'house_name', 'former_number') AND m.began_at <= q.at
            GROUP BY q.n, m.animal_id, q.at
         ), found AS MATERIALIZED (
           -- A record that was given up means the animal that it was found to be.
           SELECT x.n, holt_animal(x.animal_id) AS animal_id, x.at, bool_or(x.in_force) AS in_force
             FROM named x GROUP BY 1, 2, 3
         ), locked AS MATERIALIZED (
           -- Whoever waited for a row is given it as it is by then, and all the rest as it was before.
           SELECT l.id, l.version
             FROM (SELECT DISTINCT animal_id FROM found ORDER BY animal_id) f
            CROSS JOIN LATERAL (SELECT a.id, a.version FROM animals a WHERE a.id = f.animal_id OFFSET 0 {locking}) l
         )
         SELECT f.n, f.animal_id, f.in_force, coalesce(h.held, false) AS held,
                l.version <> (SELECT a.version FROM animals a WHERE a.id = f.animal_id) OR coalesce(h.later, false) AS passed,
                (SELECT c.number FROM accessions c WHERE c.animal_id = f.animal_id AND {known_c}
                  ORDER BY (c.site_id = $3) DESC NULLS LAST, c.recorded_at DESC LIMIT 1) AS accession,
                (SELECT m.code FROM marks m WHERE m.animal_id = f.animal_id AND {known_m}
                    AND m.kind = 'house_name'
                  ORDER BY m.ended_at DESC NULLS FIRST, m.began_at DESC LIMIT 1) AS house_name
           FROM found f JOIN locked l ON l.id = f.animal_id
           LEFT JOIN LATERAL (
             SELECT bool_or({known_h} AND ($3::uuid IS NULL OR h.site_id = $3)
                            AND h.began_at <= f.at AND (h.ended_at IS NULL OR h.ended_at > f.at)) AS held,
                    bool_or(h.recorded_at > $4 OR h.superseded_at > $4) AS later
               FROM holdings h WHERE h.animal_id = f.animal_id) h ON true
          ORDER BY f.n, f.in_force DESC, accession",
        known_c = known("c", 2),
        known_m = known("m", 2),
        known_h = known("h", 2),
    );
    let values = [
        serde_json::to_value(&asked)?.into(),
        snapshot.known_at().into(),
        permit.map(|permit| permit.site().id).into(),
        now.into(),
    ];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    if rows.iter().any(|row| row.passed) {
        return Err(Error::Contention);
    }
    // By how near they come: held and marked so then, marked so then, marked so once.
    let mut candidates: HashMap<usize, [Vec<Label>; 3]> = HashMap::new();
    for row in rows {
        let label = Label {
            id: row.animal_id,
            accession: row.accession.unwrap_or_default(),
            house_name: row.house_name.unwrap_or_default(),
        };
        let near = match (row.in_force, row.held) {
            (true, true) => 0,
            (true, false) => 1,
            (false, _) => 2,
        };
        let found = candidates.entry(usize::try_from(row.n).unwrap_or_default()).or_default();
        if !found.iter().flatten().any(|other| other.id == label.id) {
            found[near].push(label);
        }
    }
    Ok((0..references.len())
        .map(|n| {
            let mut found = candidates.remove(&n).unwrap_or_default().into_iter();
            let mut nearest = found.find(|labels| !labels.is_empty()).unwrap_or_default();
            match nearest.len() {
                0 => Meant::Nobody,
                1 => Meant::One(nearest.remove(0)),
                _ => Meant::Several(nearest),
            }
        })
        .collect())
}

/// A transponder as it is kept: without the spaces, points and hyphens that people write.
pub(super) fn code_of(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace() && !matches!(c, '.' | '-')).collect()
}

#[derive(FromQueryResult)]
struct View {
    id: Uuid,
    version: i64,
    #[sea_orm(nested)]
    taxon: Described,
    sex: Option<String>,
    born_first: Option<NaiveDate>,
    born_last: Option<NaiveDate>,
    estimated: Option<bool>,
    dam_id: Option<Uuid>,
    sire_id: Option<Uuid>,
    holder: Option<String>,
    held: Option<bool>,
    ended_how: Option<String>,
    ended_name: Option<String>,
    went_to: Option<String>,
    mistake: Option<String>,
    held_since: Option<NaiveDate>,
    enclosure: Option<String>,
    mass_mg: Option<i64>,
    weighed_at: Option<DateTime<Utc>>,
    owner: Option<String>,
    /// The last one it had: a dead animal is still spoken of by its name.
    house_name: Option<String>,
    #[sea_orm(nested(prefix = "d_"))]
    death: Option<deaths::Told>,
}

/// What is known of these animals through a lens, in the order given. Those that the caller may not see
/// are left out.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn views(snapshot: &Snapshot, ids: &[Uuid], lens: Lens) -> Result<Vec<Animal>, Error> {
    let sql = format!(
        "SELECT a.id, a.version, {taxon}, s.sex,
                b.born_first, b.born_last, b.estimated, dam.parent_id AS dam_id, sire.parent_id AS sire_id,
                hs.code AS holder, (h.ended_at IS NULL OR h.ended_at > $3) AS held, h.ended_how, h.ended_name,
                ts.code AS went_to, (SELECT x.because FROM mistakes x WHERE x.animal_id = a.id AND {known_x}) AS mistake,
                since.began_on AS held_since, e.name AS enclosure,
                w.mass_mg, w.weighed_at, coalesce(os.code, o.owner_name) AS owner,
                (SELECT n.code FROM marks n WHERE n.animal_id = a.id AND n.kind = 'house_name' AND {known_n}
                    AND n.began_at <= $3
                  ORDER BY n.ended_at DESC NULLS FIRST, n.began_at DESC LIMIT 1) AS house_name,
                {death}
           FROM unnest($1::uuid[]) WITH ORDINALITY AS q (id, n)
           JOIN animals a ON a.id = q.id
           {described}
           LEFT JOIN LATERAL (SELECT x.sex FROM sexings x
                WHERE x.animal_id = a.id AND {known_x} AND x.determined_on <= $4
                ORDER BY x.determined_on DESC LIMIT 1) s ON true
           LEFT JOIN births b ON b.animal_id = a.id AND {known_b}
           LEFT JOIN parents dam ON dam.animal_id = a.id AND {known_dam} AND dam.kind = 'dam'
           LEFT JOIN LATERAL (SELECT p.parent_id FROM parents p
                WHERE p.animal_id = a.id AND {known_p} AND p.kind = 'sire'
                ORDER BY p.share DESC, p.id LIMIT 1) sire ON true
           LEFT JOIN LATERAL (SELECT y.* FROM holdings y
                WHERE y.animal_id = a.id AND {known_y} AND y.began_at <= $3
                ORDER BY y.began_at DESC LIMIT 1) h ON true
           LEFT JOIN sites hs ON hs.id = h.site_id
           LEFT JOIN transfers mv ON mv.id = h.transfer_out
           LEFT JOIN sites ts ON ts.id = mv.to_site_id
           LEFT JOIN LATERAL (SELECT z.began_on FROM holdings z
                WHERE z.animal_id = a.id AND z.site_id = $5 AND {known_z} AND z.began_at <= $3
                  AND (z.ended_at IS NULL OR z.ended_at > $3)
                ORDER BY z.began_at DESC LIMIT 1) since ON true
           LEFT JOIN placements pl ON pl.animal_id = a.id AND {known_pl} AND {covers_pl}
           LEFT JOIN enclosures e ON e.id = pl.enclosure_id
           -- Record by record, so that the last reading of each is the first entry of an index.
           LEFT JOIN LATERAL (SELECT l.mass_mg, l.weighed_at
                FROM identities r
               CROSS JOIN LATERAL (SELECT v.mass_mg, v.weighed_at FROM public.weights v
                    WHERE v.animal_id = r.record_id AND {known_v} AND v.mass_mg IS NOT NULL AND v.weighed_at <= $3
                      AND v.method <> 'estimate' AND (NOT r.linked OR NOT holt_set_aside(v.id, a.id))
                      AND (NOT r.doubted OR NOT holt_mistaken(r.record_id))
                    ORDER BY v.weighed_at DESC LIMIT 1) l
               WHERE r.animal_id = a.id ORDER BY l.weighed_at DESC LIMIT 1) w ON true
           LEFT JOIN titles o ON o.animal_id = a.id AND {known_o} AND {covers_o}
           LEFT JOIN sites os ON os.id = o.owner_site_id
           LEFT JOIN deaths d ON d.animal_id = a.id AND {known_d} AND d.died_at <= $3
          ORDER BY q.n",
        death = deaths::COLUMNS,
        known_d = known("d", 2),
        taxon = taxa::COLUMNS,
        described = taxa::described("a.taxon_id", 2),
        known_x = known("x", 2),
        known_b = known("b", 2),
        known_dam = known("dam", 2),
        known_p = known("p", 2),
        known_y = known("y", 2),
        known_z = known("z", 2),
        known_pl = known("pl", 2),
        covers_pl = covers("pl", 3),
        known_v = known("v", 2),
        known_o = known("o", 2),
        known_n = known("n", 2),
        covers_o = covers("o", 3),
    );
    let values =
        [ids.to_vec().into(), snapshot.known_at().into(), lens.at.into(), lens.day.into(), lens.site.into()];
    let rows = snapshot.rows::<View>(&sql, values).await?;
    let mut known_marks: HashMap<Uuid, Vec<Mark>> = HashMap::new();
    for (animal, mark) in marks::in_force(snapshot, ids, lens.at).await? {
        known_marks.entry(animal).or_default().push(mark);
    }
    let mut known_numbers = numbers(snapshot, ids).await?;
    rows.into_iter()
        .map(|row| {
            let marks = known_marks.remove(&row.id).unwrap_or_default();
            let numbers = known_numbers.remove(&row.id).unwrap_or_default();
            assemble(row, marks, numbers, lens)
        })
        .collect()
}

/// The number under which a site took an animal in.
struct Number {
    site: Uuid,
    code: String,
    number: String,
}

/// Accessions of these animals, oldest first.
async fn numbers(snapshot: &Snapshot, ids: &[Uuid]) -> Result<HashMap<Uuid, Vec<Number>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        site_id: Uuid,
        code: String,
        number: String,
    }
    let sql = format!(
        "SELECT c.animal_id, c.site_id, s.code, c.number FROM accessions c JOIN sites s ON s.id = c.site_id
          WHERE c.animal_id = ANY ($1) AND {} ORDER BY c.animal_id, c.taken_on, c.recorded_at",
        known("c", 2)
    );
    let mut numbers: HashMap<Uuid, Vec<Number>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, [ids.to_vec().into(), snapshot.known_at().into()]).await? {
        let number = Number { site: row.site_id, code: row.code, number: row.number };
        numbers.entry(row.animal_id).or_default().push(number);
    }
    Ok(numbers)
}

fn assemble(row: View, marks: Vec<Mark>, numbers: Vec<Number>, lens: Lens) -> Result<Animal, Error> {
    let held = row.held.unwrap_or(false);
    let status = match row.ended_how.as_deref().filter(|_| !held).map(holdings::ended).transpose()? {
        None if row.mistake.is_some() => Status::Mistake,
        None => Status::Held,
        Some(Ended::Death) => Status::Dead,
        Some(Ended::Departure) => Status::Departed,
        Some(Ended::Escape) => Status::AtLarge,
        Some(Ended::Transfer) => Status::MovedOn,
    };
    let holder = row.holder.filter(|_| held).unwrap_or_default();
    let own = |number: &&Number| match lens.site {
        Some(site) => number.site == site,
        None => number.code == holder,
    };
    let accession = numbers.iter().find(own).or(numbers.last()).map(|n| n.number.clone());
    Ok(Animal {
        id: row.id,
        accession: accession.unwrap_or_default(),
        house_name: row.house_name.unwrap_or_default(),
        accessions: numbers.into_iter().map(|number| (number.code, number.number)).collect(),
        taxon: row.taxon.taxon()?,
        sex: row.sex.as_deref().map_or(Ok(Sex::Unknown), sex)?,
        marks,
        born: row.born_first.zip(row.born_last).map(|(first, last)| Born {
            first,
            last,
            estimated: row.estimated.unwrap_or(false),
        }),
        dam: row.dam_id,
        sire: row.sire_id,
        status,
        holder,
        enclosure: row.enclosure.unwrap_or_default(),
        latest_mass: row.mass_mg.map(Mass::from_mg),
        latest_weighed_at: row.weighed_at,
        version: row.version,
        owner: row.owner.unwrap_or_default(),
        held_since: row.held_since,
        mistake: row.mistake.unwrap_or_default(),
        went_to: if held { String::new() } else { row.went_to.or(row.ended_name).unwrap_or_default() },
        death: row.death.map(deaths::Told::death).transpose()?,
    })
}

/// Animals that a site holds at the instant of the lens, by accession.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn held(
    snapshot: &Snapshot,
    permit: &Permit,
    lens: Lens,
    filter: &Filter,
    page: &Page,
) -> Result<Slice<(Uuid, String)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        number: String,
    }
    let sql = format!(
        "SELECT h.animal_id, c.number FROM holdings h
           JOIN accessions c ON c.animal_id = h.animal_id AND c.site_id = h.site_id AND {known_c}
           JOIN animals a ON a.id = h.animal_id
          WHERE h.site_id = $1 AND {known_h} AND {covers_h} AND c.number > $4
            AND ($5 = '' OR a.taxon_id IN (
                  SELECT n.taxon_id FROM taxon_names n WHERE n.scientific_name = $5 AND {known_n}))
            AND ($6 = '' OR EXISTS (
                  SELECT FROM placements p JOIN enclosures e ON e.id = p.enclosure_id
                   WHERE p.animal_id = h.animal_id AND {known_p} AND {covers_p} AND lower(e.name) = lower($6)))
          ORDER BY c.number LIMIT $7",
        known_c = known("c", 2),
        known_h = known("h", 2),
        covers_h = covers("h", 3),
        known_p = known("p", 2),
        covers_p = covers("p", 3),
        known_n = known("n", 2),
    );
    let values = [
        permit.site().id.into(),
        snapshot.known_at().into(),
        lens.at.into(),
        page.after.clone().unwrap_or_default().into(),
        filter.taxon.clone().into(),
        filter.enclosure.clone().into(),
        (i64::from(page.size) + 1).into(),
    ];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let entries = rows.into_iter().map(|row| (row.animal_id, row.number)).collect();
    Ok(Slice::cut(entries, page, |(_, number): &(Uuid, String)| number.clone()))
}

/// An animal's stay at a site, with what the duties of the site need to know of it.
#[derive(Clone, Debug)]
pub struct Stay {
    pub animal: Label,
    pub taxon: Taxon,
    pub sex: Sex,
    pub enclosure: Option<(Uuid, String)>,
    pub group: Option<Uuid>,
    pub began_on: NaiveDate,
    /// Day on which it went off the books, if it had at the instant asked for.
    pub ended_on: Option<NaiveDate>,
}

/// The stays at a site that had begun at the instant of the lens and not ended before `since`.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn stays(
    snapshot: &Snapshot,
    permit: &Permit,
    since: DateTime<Utc>,
    lens: Lens,
) -> Result<Vec<Stay>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        number: Option<String>,
        house_name: Option<String>,
        #[sea_orm(nested)]
        taxon: Described,
        sex: Option<String>,
        enclosure_id: Option<Uuid>,
        enclosure: Option<String>,
        group_id: Option<Uuid>,
        began_on: NaiveDate,
        ended_on: Option<NaiveDate>,
    }
    let sql = format!(
        "SELECT h.animal_id, c.number, {taxon},
                (SELECT m.code FROM marks m WHERE m.animal_id = h.animal_id AND m.kind = 'house_name' AND {known_m}
                  ORDER BY m.ended_at DESC NULLS FIRST, m.began_at DESC LIMIT 1) AS house_name,
                (SELECT x.sex FROM sexings x WHERE x.animal_id = h.animal_id AND {known_x}
                    AND x.determined_on <= $5 ORDER BY x.determined_on DESC LIMIT 1) AS sex,
                p.enclosure_id, e.name AS enclosure, g.group_id, h.began_on,
                CASE WHEN h.ended_at <= $3 THEN h.ended_on END AS ended_on
           FROM holdings h
           JOIN animals a ON a.id = h.animal_id
           {described}
           LEFT JOIN accessions c ON c.animal_id = h.animal_id AND c.site_id = h.site_id AND {known_c}
           LEFT JOIN placements p ON p.animal_id = h.animal_id AND p.site_id = h.site_id AND {known_p} AND {covers_p}
           LEFT JOIN enclosures e ON e.id = p.enclosure_id
           LEFT JOIN memberships g ON g.animal_id = h.animal_id AND g.site_id = h.site_id AND {known_g} AND {covers_g}
          WHERE h.site_id = $1 AND {known_h} AND h.began_at <= $3 AND (h.ended_at IS NULL OR h.ended_at >= $4)
          ORDER BY c.number, h.began_at",
        taxon = taxa::COLUMNS,
        described = taxa::described("a.taxon_id", 2),
        known_m = known("m", 2),
        known_x = known("x", 2),
        known_c = known("c", 2),
        known_p = known("p", 2),
        covers_p = covers("p", 3),
        known_g = known("g", 2),
        covers_g = covers("g", 3),
        known_h = known("h", 2),
    );
    let values =
        [permit.site().id.into(), snapshot.known_at().into(), lens.at.into(), since.into(), lens.day.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Stay {
                animal: Label {
                    id: row.animal_id,
                    accession: row.number.unwrap_or_default(),
                    house_name: row.house_name.unwrap_or_default(),
                },
                taxon: row.taxon.taxon()?,
                sex: row.sex.as_deref().map_or(Ok(Sex::Unknown), sex)?,
                enclosure: row.enclosure_id.zip(row.enclosure),
                group: row.group_id,
                began_on: row.began_on,
                ended_on: row.ended_on,
            })
        })
        .collect()
}
