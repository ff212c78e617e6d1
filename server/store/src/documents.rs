//! Which versions of protocols, ethograms, reference curves of growth and standards there are, and by which a site works.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::adoption;
use crate::error::{Error, stored};
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::document::{Adoption, Basis, InUse, Kind, on};
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use std::collections::HashMap;
use uuid::Uuid;

/// The table of a kind.
#[must_use]
pub const fn table(kind: Kind) -> &'static str {
    match kind {
        Kind::Protocol => "protocols",
        Kind::Ethogram => "ethograms",
        Kind::GrowthReference => "growth_references",
        Kind::Standard => "standards",
    }
}

/// The last version of a document; 0 where there is none.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn last_version(snapshot: &Snapshot, kind: Kind, code: &str) -> Result<i32, Error> {
    #[derive(FromQueryResult)]
    struct Last {
        last: i32,
    }
    let sql = format!("SELECT coalesce(max(version), 0) AS last FROM {} WHERE code = $1", table(kind));
    Ok(snapshot.rows::<Last>(&sql, [code.into()]).await?.first().map_or(0, |row| row.last))
}

/// What a site adopted of one document, or of all, by kind and code; the earliest day first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn adoptions(
    snapshot: &Snapshot,
    permit: &Permit,
    of: Option<(Kind, &str)>,
) -> Result<HashMap<(String, String), Vec<Adoption>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        kind: String,
        code: String,
        version: i32,
        adopted_on: NaiveDate,
        recorded_at: DateTime<Utc>,
        recorded_by: Option<String>,
    }
    let mut filter = Filter::after([permit.site().id.into(), snapshot.known_at().into()]);
    filter.and("a.kind = ? AND a.code = ?", of.map(|(kind, code)| [kind.as_str().into(), code.into()]));
    let (filter, last, values) = filter.then(i64::MAX);
    let sql = format!(
        "SELECT a.kind, a.code, a.document_version AS version, a.adopted_on, a.recorded_at, p.name AS recorded_by
           FROM adoptions a LEFT JOIN people p ON p.id = a.recorded_by
          WHERE a.site_id = $1 AND {}{filter} ORDER BY a.adopted_on LIMIT ${last}",
        known("a", 2)
    );
    let mut all: HashMap<(String, String), Vec<Adoption>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, values).await? {
        let adoption = Adoption {
            version: row.version,
            on: row.adopted_on,
            at: row.recorded_at,
            by: row.recorded_by.unwrap_or_default(),
        };
        all.entry((row.kind, row.code)).or_default().push(adoption);
    }
    Ok(all)
}

/// The documents that a site may work by, shared ones and its own, by kind and code, each with the version that it
/// works by on a day.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn in_use(snapshot: &Snapshot, permit: &Permit, day: NaiveDate) -> Result<Vec<InUse>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        kind: String,
        code: String,
        titles: serde_json::Value,
    }
    let each = [Kind::Ethogram, Kind::GrowthReference, Kind::Protocol, Kind::Standard].map(|kind| {
        format!(
            "SELECT '{}' AS kind, d.code, jsonb_agg(d.content->>'title' ORDER BY d.version) AS titles
               FROM {} d
              WHERE (d.site_id IS NULL OR d.site_id = $1) AND d.recorded_at <= $2 GROUP BY d.code",
            kind.as_str(),
            table(kind),
        )
    });
    let sql = format!("{} ORDER BY kind, code", each.join(" UNION ALL "));
    let rows = snapshot.rows::<Row>(&sql, [permit.site().id.into(), snapshot.known_at().into()]).await?;
    let mut adopted = adoptions(snapshot, permit, None).await?;
    rows.into_iter()
        .map(|row| {
            let adoptions = adopted.remove(&(row.kind.clone(), row.code.clone())).unwrap_or_default();
            // Of a document that cannot be read there is none; the pages that show it name it.
            let mut titles: Vec<Option<String>> = stored("documents", "content", row.titles)?;
            let last = i32::try_from(titles.len()).unwrap_or(i32::MAX);
            let (version, basis) =
                on(&adoptions, day).map_or((last, Basis::Last), |one| (one.version, Basis::Adopted));
            let place = usize::try_from(version - 1).unwrap_or_default();
            let title = if place < titles.len() { titles.swap_remove(place) } else { None };
            let title = title.unwrap_or_default();
            let kind = stored("adoptions", "kind", row.kind)?;
            Ok(InUse { kind, code: row.code, title, version, basis, last, adoptions })
        })
        .collect()
}

/// Takes an adoption from the record that stands for a day; answers whether there was one.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn withdraw(
    tx: &mut Tx,
    permit: &Permit,
    (kind, code): (Kind, &str),
    day: NaiveDate,
    because: &str,
) -> Result<bool, Error> {
    let standing = adoption::Entity::find()
        .filter(adoption::Column::SiteId.eq(permit.site().id))
        .filter(adoption::Column::Kind.eq(kind.as_str()))
        .filter(adoption::Column::Code.eq(code))
        .filter(adoption::Column::AdoptedOn.eq(day))
        .filter(adoption::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    let Some(standing) = standing else { return Ok(false) };
    tx.supersede::<adoption::Entity>(standing.id, because).await?;
    Ok(true)
}

/// Records that a site works by a version from a day on.
///
/// # Errors
/// [`Error::Contention`] where somebody adopted another for that day meanwhile.
pub async fn adopt(
    tx: &mut Tx,
    permit: &Permit,
    (kind, code): (Kind, &str),
    version: i32,
    day: NaiveDate,
) -> Result<Uuid, Error> {
    let id = tx.new_id();
    let row = fact!(
        tx,
        adoption::Model {
            id: id,
            site_id: permit.site().id,
            kind: kind.as_str().to_owned(),
            code: code.to_owned(),
            document_version: version,
            adopted_on: day,
        }
    );
    tx.insert(&[row]).await?;
    Ok(id)
}
