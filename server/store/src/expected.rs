//! What animals are expected to weigh, as far as it is worked out: one row for each animal and group, which rounds move
//! on, and one for each species and week. All of it can be worked out again, so the ledger does not speak of it.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::error::{Error, stored};
use chrono::{DateTime, Utc};
use sea_orm::FromQueryResult;
use serde_json::json;
use uuid::Uuid;

/// Of what a row is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
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
        "SELECT s.of_id, s.part, s.until, s.stale, s.basis, s.state, s.lessons, s.confirmed FROM public.weight_states s
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

/// Keeps what was worked out of animals and groups of a species: new where there was nothing yet.
///
/// # Errors
/// [`Error::Broken`] where somebody kept the first of one meanwhile.
pub async fn keep(tx: &mut Tx, permit: &Permit, taxon: Uuid, rows: &[(Kept, bool)]) -> Result<(), Error> {
    for new in [true, false] {
        let values: Vec<serde_json::Value> = rows
            .iter()
            .filter(|(_, is_new)| *is_new == new)
            .map(|(kept, _)| {
                json!({
                    "of_id": kept.of, "part": kept.part.text(), "until": kept.until, "stale": kept.stale,
                    "basis": kept.basis, "state": kept.state, "lessons": kept.lessons, "confirmed": kept.confirmed,
                })
            })
            .collect();
        if values.is_empty() {
            continue;
        }
        let given = "jsonb_to_recordset($1) AS r (of_id uuid, part text, until timestamptz, stale boolean, basis text,
                       state text, lessons text, confirmed uuid[])";
        let sql = if new {
            format!(
                "INSERT INTO public.weight_states (of_id, part, site_id, taxon_id, until, stale, basis, state, lessons, confirmed)
                 SELECT r.of_id, r.part, $2, $3, r.until, r.stale, r.basis, r.state, r.lessons, r.confirmed FROM {given}"
            )
        } else {
            format!(
                "UPDATE public.weight_states s SET taxon_id = $3, until = r.until, stale = r.stale, basis = r.basis,
                        state = r.state, lessons = r.lessons, confirmed = r.confirmed
                   FROM {given} WHERE s.of_id = r.of_id AND s.part = r.part AND s.site_id = $2"
            )
        };
        let values = [serde_json::Value::Array(values).into(), permit.site().id.into(), taxon.into()];
        tx.execute(&sql, values).await?;
    }
    Ok(())
}

/// What was known of a species at a site: of each week, or of the latest alone; in order.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn kinds(
    snapshot: &Snapshot,
    permit: &Permit,
    taxon: Uuid,
    only_latest: bool,
) -> Result<Vec<(i64, String)>, Error> {
    #[derive(FromQueryResult)]
    struct Week {
        week: i64,
        state: String,
    }
    let sql = format!(
        "SELECT k.week, k.state FROM public.weight_kinds k WHERE k.site_id = $1 AND k.taxon_id = $2 ORDER BY k.week DESC{}",
        if only_latest { " LIMIT 1" } else { "" }
    );
    let mut rows = snapshot.rows::<Week>(&sql, [permit.site().id.into(), taxon.into()]).await?;
    rows.reverse();
    Ok(rows.into_iter().map(|row| (row.week, row.state)).collect())
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

/// Waits until nobody else works out what follows from rounds of a species at a site: `alone`, or beside others that do
/// not begin a week.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn take_turn(tx: &mut Tx, permit: &Permit, taxon: Uuid, alone: bool) -> Result<(), Error> {
    let sql = if alone {
        "SELECT pg_advisory_xact_lock(hashtextextended($1, 7))"
    } else {
        "SELECT pg_advisory_xact_lock_shared(hashtextextended($1, 7))"
    };
    tx.execute(sql, [format!("{} {taxon}", permit.site().id).into()]).await?;
    Ok(())
}

/// What a row holds, read from its JSON.
///
/// # Errors
/// [`Error::Corrupt`] where it is none.
pub fn read<T: serde::de::DeserializeOwned>(table: &'static str, column: &'static str, text: &str) -> Result<T, Error> {
    stored(table, column, serde_json::from_str::<serde_json::Value>(text)?)
}
