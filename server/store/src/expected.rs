//! What animals are expected to weigh, as far as it is worked out: one row for each animal and group, which rounds move
//! on, and one for each species and week. All of it can be worked out again, so the ledger does not speak of it.

use crate::access::permit::Permit;
use crate::animals::sex;
use crate::doors::{Snapshot, Tx};
use crate::error::{Error, stored};
use crate::facts::known;
use crate::model::life_state::{StateEnd, StateKind};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Sex;
use sea_orm::FromQueryResult;
use serde::Deserialize;
use serde_json::json;
use std::collections::HashMap;
use uuid::Uuid;

/// Where an animal lived, and from when until when.
#[derive(Clone, Debug, Deserialize)]
pub struct Home {
    pub enclosure_id: Uuid,
    pub enclosure: String,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
}

impl Home {
    /// Whether it lived there at an instant.
    #[must_use]
    pub fn covers(&self, at: DateTime<Utc>) -> bool {
        self.began_at <= at && self.ended_at.is_none_or(|ended| at < ended)
    }
}

/// A state that an animal was in, and from when until when.
#[derive(Clone, Debug, Deserialize)]
pub struct Stretch {
    pub state: StateKind,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
    pub ended_how: Option<StateEnd>,
}

/// What the weight of an animal depends on, besides when it was weighed.
#[derive(Clone, Debug)]
pub struct Behind {
    pub animal: Uuid,
    pub taxon: Uuid,
    /// Scientific name of its species.
    pub species: String,
    pub seasonal: bool,
    /// How many days its species carries, where that is said.
    pub gestation_days: Option<i32>,
    /// Its sex, as it was found last.
    pub sex: Sex,
    /// Its day of birth, where that is known to the day.
    pub born_on: Option<NaiveDate>,
    /// Age in days from which its species breeds, where that is said.
    pub breeds_from_days: Option<i32>,
    /// Days on which she gave birth, in order.
    pub births: Vec<NaiveDate>,
    /// What it went through, in order of time.
    pub states: Vec<Stretch>,
    /// Where it lived at the site, in order of time.
    pub homes: Vec<Home>,
}

/// Days of birth that are known no better than this say nothing about when the dam gave birth.
const VAGUE_DAYS: i32 = 31;

/// What the weights of these animals depend on, and of all others of their species that ever lived in one of the same
/// enclosures of a site; in order of species and animals. That a dam gave birth is told by her young.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn behind(snapshot: &Snapshot, permit: &Permit, animals: &[Uuid]) -> Result<Vec<Behind>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        taxon_id: Uuid,
        scientific_name: String,
        seasonal: bool,
        gestation_days: Option<i32>,
        sex: Option<String>,
        own_birth: Option<NaiveDate>,
        breeds_from_days: Option<i32>,
        births: serde_json::Value,
        states: serde_json::Value,
        homes: serde_json::Value,
    }
    let sql = format!(
        "WITH near AS (
           SELECT unnest($1::uuid[]) AS id
           UNION
           SELECT o.animal_id FROM placements own
             JOIN animals c ON c.id = own.animal_id
             JOIN placements o ON o.enclosure_id = own.enclosure_id AND o.site_id = $4 AND {known_o}
             JOIN animals d ON d.id = o.animal_id AND d.taxon_id = c.taxon_id
            WHERE own.site_id = $4 AND own.animal_id = ANY ($1) AND {known_own})
         SELECT a.id AS animal_id, a.taxon_id, k.scientific_name, coalesce(t.seasonal, false) AS seasonal, t.gestation_days,
                (SELECT x.sex FROM sexings x WHERE x.animal_id = a.id AND {known_x}
                  ORDER BY x.determined_on DESC, x.recorded_at DESC LIMIT 1) AS sex,
                o.born_first AS own_birth, k.breeds_from_days,
                (SELECT coalesce(jsonb_agg(y.born_on ORDER BY y.born_on), '[]') FROM (
                   SELECT b.born_last AS born_on FROM parents p
                     JOIN births b ON b.animal_id = p.animal_id AND {known_b}
                    WHERE p.parent_id = a.id AND p.kind = 'dam' AND {known_p} AND NOT b.estimated
                      AND b.born_last - b.born_first <= $3
                   UNION
                   SELECT l.born_on FROM litter_parents q
                     JOIN litters l ON l.id = q.litter_id AND l.recorded_at <= $2
                    WHERE q.parent_id = a.id AND q.kind = 'dam' AND {known_q}) y) AS births,
                (SELECT coalesce(jsonb_agg(jsonb_build_object('state', z.state, 'began_at', z.began_at,
                          'ended_at', z.ended_at, 'ended_how', z.ended_how) ORDER BY z.began_at, z.id), '[]')
                   FROM life_states z WHERE z.animal_id = a.id AND {known_z}) AS states,
                (SELECT coalesce(jsonb_agg(jsonb_build_object('enclosure_id', h.enclosure_id, 'enclosure', e.name,
                          'began_at', h.began_at, 'ended_at', h.ended_at) ORDER BY h.began_at), '[]')
                   FROM placements h JOIN enclosures e ON e.id = h.enclosure_id
                  WHERE h.animal_id = a.id AND h.site_id = $4 AND {known_h}) AS homes
           FROM near n
           JOIN animals a ON a.id = n.id
           JOIN taxon_names k ON k.taxon_id = a.taxon_id AND k.accepted AND {known_k}
           LEFT JOIN births o ON o.animal_id = a.id AND {known_birth} AND NOT o.estimated AND o.born_first = o.born_last
           LEFT JOIN LATERAL (
             SELECT x.seasonal, x.gestation_days FROM taxon_traits x
              WHERE x.taxon_id = a.taxon_id AND x.recorded_at <= $2
              ORDER BY x.recorded_at DESC, x.id DESC LIMIT 1) t ON true
          ORDER BY a.taxon_id, a.id",
        known_o = known("o", 2),
        known_own = known("own", 2),
        known_x = known("x", 2),
        known_b = known("b", 2),
        known_p = known("p", 2),
        known_q = known("q", 2),
        known_z = known("z", 2),
        known_h = known("h", 2),
        known_k = known("k", 2),
        known_birth = known("o", 2),
    );
    let values =
        [animals.to_vec().into(), snapshot.known_at().into(), VAGUE_DAYS.into(), permit.site().id.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Behind {
                animal: row.animal_id,
                taxon: row.taxon_id,
                species: row.scientific_name,
                seasonal: row.seasonal,
                gestation_days: row.gestation_days,
                sex: row.sex.as_deref().map_or(Ok(Sex::Unknown), sex)?,
                born_on: row.own_birth,
                breeds_from_days: row.breeds_from_days,
                births: stored("births", "born_last", row.births)?,
                states: stored("life_states", "state", row.states)?,
                homes: stored("placements", "began_at", row.homes)?,
            })
        })
        .collect()
}

/// Of what a row is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Part {
    Animal,
    Group,
}

impl Part {
    const fn text(self) -> &'static str {
        match self {
            Self::Animal => "animal",
            Self::Group => "group",
        }
    }
}

/// What is kept of an animal or a group. Texts are JSON.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    pub of: Uuid,
    pub part: Part,
    /// The species.
    pub taxon: Uuid,
    /// Instant of the latest reading in it.
    pub until: DateTime<Utc>,
    /// Something from before that instant changed.
    pub stale: bool,
    pub basis: String,
    pub state: String,
    pub lessons: String,
    /// Readings that were set aside, and that a later one agreed with.
    pub confirmed: Vec<Uuid>,
}

#[derive(FromQueryResult)]
struct Row {
    of_id: Uuid,
    part: String,
    taxon_id: Uuid,
    until: DateTime<Utc>,
    stale: bool,
    basis: String,
    state: String,
    lessons: String,
    confirmed: Vec<Uuid>,
}

/// What is kept of these animals and groups at a site; locked against others in a write.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn of(
    snapshot: &Snapshot,
    permit: &Permit,
    animals: &[Uuid],
    groups: &[Uuid],
    lock: bool,
) -> Result<Vec<Kept>, Error> {
    let sql = format!(
        "SELECT s.of_id, s.part, s.taxon_id, s.until, s.stale, s.basis, s.state, s.lessons, s.confirmed FROM public.weight_states s
          WHERE s.site_id = $1 AND ((s.part = 'animal' AND s.of_id = ANY ($2)) OR (s.part = 'group' AND s.of_id = ANY ($3)))
          ORDER BY s.of_id, s.part{}",
        if lock { " FOR UPDATE" } else { "" }
    );
    let values = [permit.site().id.into(), animals.to_vec().into(), groups.to_vec().into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Kept {
                of: row.of_id,
                part: match row.part.as_str() {
                    "animal" => Part::Animal,
                    "group" => Part::Group,
                    other => return Err(Error::corrupt("weight_states", "part", other)),
                },
                taxon: row.taxon_id,
                until: row.until,
                stale: row.stale,
                basis: row.basis,
                state: row.state,
                lessons: row.lessons,
                confirmed: row.confirmed,
            })
        })
        .collect()
}

/// What groups of a species taught of it that is not learnt yet: group and lessons, in order of groups.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn lessons(
    snapshot: &Snapshot,
    permit: &Permit,
    taxon: Uuid,
) -> Result<Vec<(Uuid, String)>, Error> {
    #[derive(FromQueryResult)]
    struct Lesson {
        of_id: Uuid,
        lessons: String,
    }
    let rows = snapshot
        .rows::<Lesson>(
            "SELECT s.of_id, s.lessons FROM public.weight_states s
              WHERE s.site_id = $1 AND s.taxon_id = $2 AND s.part = 'group' AND s.lessons <> '[]' ORDER BY s.of_id",
            [permit.site().id.into(), taxon.into()],
        )
        .await?;
    Ok(rows.into_iter().map(|row| (row.of_id, row.lessons)).collect())
}

/// Keeps what was worked out of animals and groups: new where there was nothing yet.
///
/// # Errors
/// [`Error::Broken`] where somebody kept the first of one meanwhile.
pub async fn keep(tx: &mut Tx, permit: &Permit, rows: &[(Kept, bool)]) -> Result<(), Error> {
    let rows: serde_json::Value = rows
        .iter()
        .map(|(kept, new)| {
            json!({
                "of_id": kept.of, "part": kept.part.text(), "taxon_id": kept.taxon, "until": kept.until,
                "stale": kept.stale, "basis": kept.basis, "state": kept.state, "lessons": kept.lessons,
                "confirmed": kept.confirmed, "new": new,
            })
        })
        .collect();
    tx.execute(
        "WITH given AS (
           SELECT * FROM jsonb_to_recordset($1) AS r (of_id uuid, part text, taxon_id uuid, until timestamptz,
             stale boolean, basis text, state text, lessons text, confirmed uuid[], new boolean)),
         moved AS (
           UPDATE public.weight_states s SET taxon_id = r.taxon_id, until = r.until, stale = r.stale, basis = r.basis,
                  state = r.state, lessons = r.lessons, confirmed = r.confirmed
             FROM given r WHERE NOT r.new AND s.of_id = r.of_id AND s.part = r.part AND s.site_id = $2
                            AND (r.part = 'animal' OR s.taxon_id = r.taxon_id))
         INSERT INTO public.weight_states (of_id, part, site_id, taxon_id, until, stale, basis, state, lessons, confirmed)
         SELECT r.of_id, r.part, $2, r.taxon_id, r.until, r.stale, r.basis, r.state, r.lessons, r.confirmed
           FROM given r WHERE r.new",
        [rows.into(), permit.site().id.into()],
    )
    .await?;
    Ok(())
}

/// What was known of a species at a site as each week began, in order of weeks. Texts are JSON.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn weeks(snapshot: &Snapshot, permit: &Permit, taxon: Uuid) -> Result<Vec<(i64, String)>, Error> {
    let sql = "SELECT k.taxon_id, k.week, k.state FROM public.weight_kinds k
                WHERE k.site_id = $1 AND k.taxon_id = $2 ORDER BY k.week";
    let rows = snapshot.rows::<Week>(sql, [permit.site().id.into(), taxon.into()]).await?;
    Ok(rows.into_iter().map(|row| (row.week, row.state)).collect())
}

/// The latest week of each of these species, where one has begun, with what was known then.
pub type Latest = HashMap<Uuid, (i64, String)>;

#[derive(FromQueryResult)]
struct Week {
    taxon_id: Uuid,
    week: i64,
    state: String,
}

/// See [`Latest`].
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn latest(snapshot: &Snapshot, permit: &Permit, taxa: &[Uuid]) -> Result<Latest, Error> {
    let sql = "SELECT DISTINCT ON (k.taxon_id) k.taxon_id, k.week, k.state FROM public.weight_kinds k
                WHERE k.site_id = $1 AND k.taxon_id = ANY ($2) ORDER BY k.taxon_id, k.week DESC";
    let rows = snapshot.rows::<Week>(sql, [permit.site().id.into(), taxa.to_vec().into()]).await?;
    Ok(rows.into_iter().map(|row| (row.taxon_id, (row.week, row.state))).collect())
}

/// Waits until nobody else works out what follows from rounds of these species at a site: alone where a round begins a
/// week, else beside others that begin none. Given the week of each; answers what [`latest`] does.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn take_turn(tx: &mut Tx, permit: &Permit, turns: &[(Uuid, i64)]) -> Result<Latest, Error> {
    let (taxa, weeks): (Vec<Uuid>, Vec<i64>) = turns.iter().copied().unzip();
    let sql = "SELECT t.taxon_id, t.week, t.state FROM holt_weights_turn($1, $2, $3) t";
    let rows = tx.rows::<Week>(sql, [permit.site().id.into(), taxa.into(), weeks.into()]).await?;
    Ok(rows.into_iter().map(|row| (row.taxon_id, (row.week, row.state))).collect())
}

/// Keeps what is known of a species as weeks begin. What was taught until then is learnt with it.
///
/// # Errors
/// [`Error::Broken`] where somebody began one of these weeks meanwhile.
pub async fn begin_weeks(
    tx: &mut Tx,
    permit: &Permit,
    taxon: Uuid,
    weeks: &[(i64, String)],
) -> Result<(), Error> {
    let rows: serde_json::Value =
        weeks.iter().map(|(week, state)| json!({ "week": week, "state": state })).collect();
    tx.execute(
        "WITH learnt AS (
           UPDATE public.weight_states SET lessons = '[]'
            WHERE site_id = $2 AND taxon_id = $3 AND part = 'group' AND lessons <> '[]')
         INSERT INTO public.weight_kinds (site_id, taxon_id, week, state)
         SELECT $2, $3, r.week, r.state FROM jsonb_to_recordset($1) AS r (week bigint, state text)",
        [rows.into(), permit.site().id.into(), taxon.into()],
    )
    .await?;
    Ok(())
}

/// What a row holds, read from its JSON.
///
/// # Errors
/// [`Error::Corrupt`] where it is none.
pub fn read<T: serde::de::DeserializeOwned>(
    table: &'static str,
    column: &'static str,
    text: &str,
) -> Result<T, Error> {
    stored(table, column, serde_json::from_str::<serde_json::Value>(text)?)
}
