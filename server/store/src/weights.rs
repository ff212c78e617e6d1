//! Weights: readings of a scale.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::weight;
use crate::error::Error;
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::animal::Label;
use crate::model::page::{Page, Slice};
use crate::model::weight::{Method, Weight};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Mass;
use sea_orm::FromQueryResult;
use std::collections::HashMap;
use uuid::Uuid;

/// A reading to keep.
#[derive(Clone, Debug)]
pub struct NewWeight {
    pub id: Uuid,
    pub animal: Uuid,
    pub weighed_at: DateTime<Utc>,
    pub weighed_on: NaiveDate,
    pub day_only: bool,
    /// None where the animal would not come.
    pub mass: Option<Mass>,
    pub doubtful: bool,
    pub scale: String,
    pub method: Method,
    pub note: String,
}

/// One reading in a series of an animal.
#[derive(Clone, Debug)]
pub struct Point {
    pub id: Uuid,
    pub animal: Uuid,
    pub site: Uuid,
    pub weighed_at: DateTime<Utc>,
    pub weighed_on: NaiveDate,
    pub day_only: bool,
    pub mass: Option<Mass>,
    pub doubtful: bool,
    /// A person vouches for it.
    pub accepted: bool,
    pub scale: String,
    pub estimate: bool,
    /// When it was recorded, and with what.
    pub recorded_at: DateTime<Utc>,
    pub request: Uuid,
}

const fn method_text(method: Method) -> &'static str {
    match method {
        Method::NotTold => "",
        Method::Trained => "trained",
        Method::Handled => "handled",
        Method::Crate => "crate",
        Method::Anaesthetised => "anaesthetised",
        Method::Estimate => "estimate",
    }
}

pub(super) fn method(text: &str) -> Result<Method, Error> {
    match text {
        "" => Ok(Method::NotTold),
        "trained" => Ok(Method::Trained),
        "handled" => Ok(Method::Handled),
        "crate" => Ok(Method::Crate),
        "anaesthetised" => Ok(Method::Anaesthetised),
        "estimate" => Ok(Method::Estimate),
        other => Err(Error::corrupt("weights", "method", other)),
    }
}

/// Keeps the readings of a round.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn append(tx: &mut Tx, permit: &Permit, readings: &[NewWeight]) -> Result<(), Error> {
    let rows: Vec<_> = readings
        .iter()
        .map(|new| {
            fact!(
                tx,
                weight::Model {
                    id: new.id,
                    animal_id: new.animal,
                    site_id: permit.site().id,
                    weighed_at: new.weighed_at,
                    weighed_on: new.weighed_on,
                    day_only: new.day_only,
                    mass_mg: new.mass.map(Mass::mg),
                    tried: new.mass.is_none(),
                    doubtful: new.doubtful,
                    accepted: false,
                    scale: new.scale.clone(),
                    method: method_text(new.method).to_owned(),
                    note: new.note.clone(),
                }
            )
        })
        .collect();
    tx.insert(&rows).await
}

/// Readings of these animals from an instant on, by animal and time.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn series(
    snapshot: &Snapshot,
    animals: &[Uuid],
    since: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Vec<Point>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        site_id: Uuid,
        weighed_at: DateTime<Utc>,
        weighed_on: NaiveDate,
        day_only: bool,
        mass_mg: Option<i64>,
        doubtful: bool,
        accepted: bool,
        scale: String,
        estimate: bool,
        recorded_at: DateTime<Utc>,
        request_id: Uuid,
    }
    let sql = format!(
        "SELECT w.id, w.animal_id, w.site_id, w.weighed_at, w.weighed_on, w.day_only, w.mass_mg,
                {waits} AS doubtful, w.accepted, w.scale, w.method = 'estimate' AS estimate, w.recorded_at, w.request_id
           FROM weights w
          WHERE w.animal_id = ANY ($1) AND w.weighed_at BETWEEN $3 AND $4 AND {known_w}
          ORDER BY w.animal_id, w.weighed_at, w.id",
        waits = waits("w"),
        known_w = known("w", 2)
    );
    let values = [animals.to_vec().into(), snapshot.known_at().into(), since.into(), until.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows
        .into_iter()
        .map(|row| Point {
            id: row.id,
            animal: row.animal_id,
            site: row.site_id,
            weighed_at: row.weighed_at,
            weighed_on: row.weighed_on,
            day_only: row.day_only,
            mass: row.mass_mg.map(Mass::from_mg),
            doubtful: row.doubtful,
            accepted: row.accepted,
            scale: row.scale,
            estimate: row.estimate,
            recorded_at: row.recorded_at,
            request: row.request_id,
        })
        .collect())
}

/// SQL that holds for readings of `alias` that are set aside, that no later one agreed with and nobody accepted.
pub(super) fn waits(alias: &str) -> String {
    format!(
        "({alias}.doubtful AND NOT {alias}.accepted AND NOT EXISTS (SELECT FROM public.weight_states ws
           WHERE ws.of_id = {alias}.animal_id AND ws.part = 'animal' AND {alias}.id = ANY (ws.confirmed)))"
    )
}

/// The latest reading of each of these animals by an instant that may be used: neither doubtful nor estimated.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn latest(
    snapshot: &Snapshot,
    animals: &[Uuid],
    until: DateTime<Utc>,
) -> Result<HashMap<Uuid, (NaiveDate, Mass)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        weighed_on: NaiveDate,
        mass_mg: i64,
    }
    let sql = format!(
        "SELECT DISTINCT ON (w.animal_id) w.animal_id, w.weighed_on, w.mass_mg FROM weights w
          WHERE w.animal_id = ANY ($1) AND {} AND w.weighed_at <= $3 AND w.mass_mg IS NOT NULL
            AND NOT {} AND w.method <> 'estimate'
          ORDER BY w.animal_id, w.weighed_at DESC, w.id DESC",
        known("w", 2),
        waits("w")
    );
    let values = [animals.to_vec().into(), snapshot.known_at().into(), until.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows.into_iter().map(|row| (row.animal_id, (row.weighed_on, Mass::from_mg(row.mass_mg)))).collect())
}

/// A reading for which a second weighing was asked when it was entered.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Doubtful {
    pub id: Uuid,
    pub animal_id: Uuid,
    pub weighed_at: DateTime<Utc>,
    pub day_only: bool,
    pub mass_mg: i64,
    /// Name of who recorded it; none of another site's people.
    pub recorded_by: Option<String>,
}

/// The latest reading of each of these animals by an instant, where a second weighing was asked for with it and nobody
/// accepted it: whether it waits still, the model knows.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn latest_doubtful(
    snapshot: &Snapshot,
    permit: &Permit,
    animals: &[Uuid],
    until: DateTime<Utc>,
) -> Result<Vec<Doubtful>, Error> {
    let sql = format!(
        "SELECT l.id, l.animal_id, l.weighed_at, l.day_only, l.mass_mg, p.name AS recorded_by
           FROM unnest($1::uuid[]) AS a (id)
           JOIN LATERAL (
             SELECT w.id, w.animal_id, w.site_id, w.weighed_at, w.day_only, w.mass_mg, w.doubtful, w.accepted, w.recorded_by
               FROM weights w
              WHERE w.animal_id = a.id AND w.weighed_at <= $3 AND w.mass_mg IS NOT NULL AND w.method <> 'estimate'
                AND {}
              ORDER BY w.weighed_at DESC, w.id DESC LIMIT 1) l ON l.doubtful AND NOT l.accepted
           LEFT JOIN people p ON p.id = l.recorded_by AND l.site_id = $4
          ORDER BY l.animal_id",
        known("w", 2)
    );
    let values = [animals.to_vec().into(), snapshot.known_at().into(), until.into(), permit.site().id.into()];
    snapshot.rows(&sql, values).await
}

/// Which readings a list is about.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    pub site: Option<Uuid>,
    pub animal: Option<Uuid>,
    pub days: Option<(NaiveDate, NaiveDate)>,
}

impl Wanted {
    /// The conditions on rows of alias `w`, whose columns `…_at` and `…_on` say when. Parameter 1 is what
    /// was known.
    pub(super) fn filter(
        &self,
        snapshot: &Snapshot,
        what: &str,
        after: Option<(DateTime<Utc>, Uuid)>,
    ) -> Filter {
        let mut filter = Filter::after([snapshot.known_at().into()]);
        filter.and("w.site_id = ?", self.site.map(|site| [site.into()]));
        filter.and("w.animal_id = ?", self.animal.map(|animal| [animal.into()]));
        let days = self.days.map(|(first, last)| [first.into(), last.into()]);
        filter.and(&format!("w.{what}_on BETWEEN ? AND ?"), days);
        let after = after.map(|(at, id)| [at.into(), id.into()]);
        filter.and(&format!("(w.{what}_at, w.id) < (?, ?)"), after);
        filter
    }
}

/// The key of a page that goes by time.
pub(super) fn moment(key: &str) -> Option<(DateTime<Utc>, Uuid)> {
    let (at, id) = key.split_once(' ')?;
    Some((at.parse().ok()?, id.parse().ok()?))
}

/// Readings, newest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(snapshot: &Snapshot, wanted: &Wanted, page: &Page) -> Result<Slice<Weight>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        site: String,
        weighed_at: DateTime<Utc>,
        day_only: bool,
        mass_mg: Option<i64>,
        doubtful: bool,
        accepted: bool,
        scale: String,
        method: String,
        note: String,
        recorded_at: DateTime<Utc>,
        accession: Option<String>,
        house_name: Option<String>,
    }
    let after = page.after.as_deref().and_then(moment);
    let (filter, last, values) = wanted.filter(snapshot, "weighed", after).then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT w.id, w.animal_id, s.code AS site, w.weighed_at, w.day_only, w.mass_mg, {waits} AS doubtful, w.accepted,
                w.scale, w.method, w.note, w.recorded_at, {label}
           FROM weights w JOIN sites s ON s.id = w.site_id
          WHERE {known_w}{filter} ORDER BY w.weighed_at DESC, w.id DESC LIMIT ${last}",
        known_w = known("w", 1),
        label = label("w", 1),
        waits = waits("w"),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let weights = rows
        .into_iter()
        .map(|row| {
            Ok(Weight {
                id: row.id,
                animal: Label {
                    id: row.animal_id,
                    accession: row.accession.unwrap_or_default(),
                    house_name: row.house_name.unwrap_or_default(),
                },
                site: row.site,
                weighed_at: row.weighed_at,
                day_only: row.day_only,
                mass: row.mass_mg.map(Mass::from_mg),
                doubtful: row.doubtful,
                accepted: row.accepted,
                scale: row.scale,
                method: method(&row.method)?,
                note: row.note,
                recorded_at: row.recorded_at,
            })
        })
        .collect::<Result<Vec<_>, Error>>()?;
    Ok(Slice::cut(weights, page, |weight| format!("{} {}", weight.weighed_at.to_rfc3339(), weight.id)))
}

/// SQL for the columns `accession` and `house_name` of the animal of `alias`, at the site of `alias`.
pub(super) fn label(alias: &str, known_at: usize) -> String {
    format!(
        "(SELECT lc.number FROM accessions lc WHERE lc.animal_id = {alias}.animal_id
             AND lc.site_id = {alias}.site_id AND {} LIMIT 1) AS accession,
         (SELECT lm.code FROM marks lm WHERE lm.animal_id = {alias}.animal_id AND lm.kind = 'house_name'
             AND {} ORDER BY lm.ended_at DESC NULLS FIRST, lm.began_at DESC LIMIT 1) AS house_name",
        known("lc", known_at),
        known("lm", known_at)
    )
}

/// Days on which an animal was weighed, or tried, at a site.
#[derive(Clone, Copy, Debug)]
pub struct WeighedDay {
    pub id: Uuid,
    pub animal: Uuid,
    pub day: NaiveDate,
    pub tried: bool,
}

/// Days on which these animals were weighed or tried, at any site that the caller may see.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn days(
    snapshot: &Snapshot,
    animals: &[Uuid],
    first: NaiveDate,
    last: NaiveDate,
) -> Result<Vec<WeighedDay>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        weighed_on: NaiveDate,
        tried: bool,
    }
    let sql = format!(
        "SELECT DISTINCT ON (w.animal_id, w.weighed_on, w.tried) w.id, w.animal_id, w.weighed_on, w.tried
           FROM weights w
          WHERE w.animal_id = ANY ($1) AND w.weighed_on BETWEEN $3 AND $4 AND w.method <> 'estimate' AND {}
          ORDER BY w.animal_id, w.weighed_on, w.tried, w.weighed_at, w.id",
        known("w", 2)
    );
    let values = [animals.to_vec().into(), snapshot.known_at().into(), first.into(), last.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows
        .into_iter()
        .map(|row| WeighedDay { id: row.id, animal: row.animal_id, day: row.weighed_on, tried: row.tried })
        .collect())
}
