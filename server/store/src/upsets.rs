//! Upsets of groups.

use crate::access::permit::Permit;
use crate::census;
use crate::doors::{Snapshot, Tx};
use crate::entity::upset;
use crate::error::{Error, stored};
use crate::filter::Filter;
use crate::model::page::{Page, Slice};
use crate::model::upset::{NewUpset, Upset};
use crate::weights::moment;
use chrono::{DateTime, Utc};
use sea_orm::FromQueryResult;
use uuid::Uuid;

/// Keeps an upset of a group and of these animals; answers its identifier.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(
    tx: &mut Tx,
    permit: &Permit,
    group: Uuid,
    (new, began_at): (&NewUpset, DateTime<Utc>),
    animals: Vec<Uuid>,
) -> Result<Uuid, Error> {
    let row = upset::Model {
        id: tx.new_id(),
        site_id: permit.site().id,
        group_id: group,
        kind: new.kind.as_str().to_owned(),
        began_at,
        happened: new.happened.clone(),
        response: new.response.clone(),
        calm_after_minutes: new.calm_after_minutes,
        animal_ids: animals,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    let id = row.id;
    tx.insert(&[row]).await?;
    Ok(id)
}

/// Which upsets are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    pub group: Option<Uuid>,
    pub id: Option<Uuid>,
    /// Those that name it.
    pub animal: Option<Uuid>,
    /// They began from the first instant on and before the second.
    pub during: Option<(DateTime<Utc>, DateTime<Utc>)>,
}

/// Upsets of a site, newest first, as was known at the instant of the snapshot.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: &Wanted,
    page: &Page,
) -> Result<Slice<Upset>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        group_name: String,
        kind: String,
        began_at: DateTime<Utc>,
        happened: String,
        response: String,
        calm_after_minutes: Option<i32>,
        animal_ids: Vec<Uuid>,
        recorder: Option<String>,
        recorded_at: DateTime<Utc>,
    }
    let site = permit.site();
    let mut filter = Filter::after([site.id.into(), snapshot.known_at().into()]);
    filter.and("u.group_id = ?", wanted.group.map(|group| [group.into()]));
    filter.and("u.id = ?", wanted.id.map(|id| [id.into()]));
    filter.and(
        "EXISTS (SELECT FROM unnest(u.animal_ids) AS x (id) WHERE holt_animal(x.id) = ?)",
        wanted.animal.map(|animal| [animal.into()]),
    );
    filter.and(
        "u.began_at >= ? AND u.began_at < ?",
        wanted.during.map(|(from, until)| [from.into(), until.into()]),
    );
    let after = page.after.as_deref().and_then(moment).map(|(at, id)| [at.into(), id.into()]);
    filter.and("(u.began_at, u.id) < (?, ?)", after);
    let (filter, limit, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT u.id, g.name AS group_name, u.kind, u.began_at, u.happened, u.response, u.calm_after_minutes,
                ARRAY(SELECT holt_animal(x.id) FROM unnest(u.animal_ids) WITH ORDINALITY AS x (id, n)
                       ORDER BY x.n) AS animal_ids, p.name AS recorder, u.recorded_at
           FROM upsets u JOIN groups g ON g.id = u.group_id LEFT JOIN people p ON p.id = u.recorded_by
          WHERE u.site_id = $1 AND u.recorded_at <= $2{filter}
          ORDER BY u.began_at DESC, u.id DESC LIMIT ${limit}"
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let named: Vec<(Uuid, Uuid)> =
        rows.iter().flat_map(|row| row.animal_ids.iter().map(|animal| (*animal, site.id))).collect();
    let mut labels = census::names(snapshot, &named).await?.into_iter();
    let upsets = rows
        .into_iter()
        .map(|row| {
            Ok(Upset {
                id: row.id,
                site: site.code.clone(),
                group: row.group_name,
                kind: stored("upsets", "kind", row.kind)?,
                began_at: row.began_at,
                happened: row.happened,
                response: row.response,
                calm_after_minutes: row.calm_after_minutes,
                animals: labels.by_ref().take(row.animal_ids.len()).collect(),
                recorder: row.recorder.unwrap_or_default(),
                recorded_at: row.recorded_at,
            })
        })
        .collect::<Result<Vec<_>, Error>>()?;
    Ok(Slice::cut(upsets, page, |one: &Upset| format!("{} {}", one.began_at.to_rfc3339(), one.id)))
}
