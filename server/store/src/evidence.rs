//! What clauses of standards are answered by: for a whole site and some days, one statement for each kind.

use crate::access::permit::Permit;
use crate::doors::Snapshot;
use crate::error::Error;
use crate::facts::known;
use crate::model::animal::Label;
use crate::weights::label;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::FromQueryResult;
use std::collections::HashMap;
use uuid::Uuid;

/// The days and the instants that a site is asked about.
#[derive(Clone, Copy, Debug)]
pub struct During {
    pub first: NaiveDate,
    pub last: NaiveDate,
    pub from: DateTime<Utc>,
    pub until: DateTime<Utc>,
}

/// SQL that holds for the intervals of `alias` that meet the time from parameter `$3` to `$4`.
fn meets(alias: &str) -> String {
    format!("({alias}.began_at <= $4 AND ({alias}.ended_at IS NULL OR {alias}.ended_at >= $3))")
}

/// SQL that holds for the intervals of `alias` that cover the instant of an offer `o`.
fn at_offer(alias: &str) -> String {
    format!(
        "({alias}.began_at <= o.given_at AND ({alias}.ended_at IS NULL OR {alias}.ended_at > o.given_at))"
    )
}

/// A stretch of time that a record says something of.
#[derive(Clone, Copy, Debug, FromQueryResult)]
pub struct Stretch {
    pub about: Uuid,
    pub record: Uuid,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
}

/// Marks by which these animals could be told from others; not a name, nor the number of earlier books.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn marks(snapshot: &Snapshot, animals: &[Uuid], during: During) -> Result<Vec<Stretch>, Error> {
    let sql = format!(
        "SELECT m.animal_id AS about, m.mark_id AS record, m.began_at, m.ended_at FROM marks m
          WHERE m.animal_id = ANY ($1) AND {} AND m.kind NOT IN ('house_name', 'former_number') AND {}
          ORDER BY m.animal_id, m.began_at, m.mark_id",
        known("m", 2),
        meets("m")
    );
    let values = [
        animals.to_vec().into(),
        snapshot.known_at().into(),
        // Also what ended before the days that are asked about: since when an animal has no mark.
        DateTime::<Utc>::UNIX_EPOCH.into(),
        during.until.into(),
    ];
    snapshot.rows(&sql, values).await
}

/// A stretch in which an animal lived in a group that had a feed plan.
#[derive(Clone, Copy, Debug, FromQueryResult)]
pub struct Fed {
    pub animal_id: Uuid,
    pub plan: Uuid,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
    pub begins_on: NaiveDate,
    /// Day from which another plan holds.
    pub replaced_on: Option<NaiveDate>,
}

/// Under which feed plans the animals of a site lived. A plan without a portion is none.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn diets(snapshot: &Snapshot, permit: &Permit, during: During) -> Result<Vec<Fed>, Error> {
    let sql = format!(
        "SELECT g.animal_id, p.id AS plan, g.began_at, g.ended_at, p.begins_on, p.replaced_on
           FROM memberships g
           JOIN (SELECT q.id, q.group_id, q.begins_on, q.content,
                        lead(q.begins_on) OVER (PARTITION BY q.group_id ORDER BY q.begins_on) AS replaced_on
                   FROM feed_plans q WHERE q.site_id = $1 AND {known_q}) p ON p.group_id = g.group_id
          WHERE g.site_id = $1 AND {known_g} AND {meets_g} AND p.content <> '[]' AND p.begins_on <= $5
          ORDER BY g.animal_id, g.began_at, p.begins_on",
        known_q = known("q", 2),
        known_g = known("g", 2),
        meets_g = meets("g"),
    );
    let values = [
        permit.site().id.into(),
        snapshot.known_at().into(),
        during.from.into(),
        during.until.into(),
        during.last.into(),
    ];
    snapshot.rows(&sql, values).await
}

/// A stretch in which an animal lived in an enclosure.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Lived {
    pub enclosure_id: Uuid,
    pub enclosure: String,
    /// Animals that the enclosure is meant for at most; 0 where not stated.
    pub capacity: i32,
    pub placement: Uuid,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
}

/// Which animals lived in which enclosures of a site.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn lived(snapshot: &Snapshot, permit: &Permit, during: During) -> Result<Vec<Lived>, Error> {
    let sql = format!(
        "SELECT p.enclosure_id, e.name AS enclosure, e.capacity, p.id AS placement, p.began_at, p.ended_at
           FROM placements p JOIN enclosures e ON e.id = p.enclosure_id
          WHERE p.site_id = $1 AND {} AND {} ORDER BY lower(e.name), p.enclosure_id, p.began_at, p.id",
        known("p", 2),
        meets("p")
    );
    let values =
        [permit.site().id.into(), snapshot.known_at().into(), during.from.into(), during.until.into()];
    snapshot.rows(&sql, values).await
}

/// A group that had members, from the first of them to the last.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Company {
    pub group_id: Uuid,
    pub name: String,
    pub began_at: DateTime<Utc>,
    /// When the last member left it; none while one is there.
    pub ended_at: Option<DateTime<Utc>>,
}

/// The groups of a site that had members.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn groups(snapshot: &Snapshot, permit: &Permit, during: During) -> Result<Vec<Company>, Error> {
    let sql = format!(
        "SELECT g.group_id, n.name, min(g.began_at) AS began_at,
                CASE WHEN bool_or(g.ended_at IS NULL) THEN NULL ELSE max(g.ended_at) END AS ended_at
           FROM memberships g JOIN groups n ON n.id = g.group_id
          WHERE g.site_id = $1 AND {} AND {} GROUP BY g.group_id, n.name ORDER BY lower(n.name)",
        known("g", 2),
        meets("g")
    );
    let values =
        [permit.site().id.into(), snapshot.known_at().into(), during.from.into(), during.until.into()];
    snapshot.rows(&sql, values).await
}

/// A kind of enrichment that a group was offered, the latest time of it.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Offered {
    pub group_id: Uuid,
    pub kind: String,
    pub offer: Uuid,
    pub given_on: NaiveDate,
}

/// Which kinds of enrichment the groups of a site were offered, by name or in the enclosure of a member.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn offered(snapshot: &Snapshot, permit: &Permit, during: During) -> Result<Vec<Offered>, Error> {
    let sql = format!(
        "WITH given AS (
           SELECT o.offer_id, o.group_id, o.enclosure_id, o.given_at, o.given_on, i.kind
             FROM enrichment_offers o
             JOIN enrichment_items i ON i.item_id = o.item_id AND i.site_id = o.site_id AND {known_i}
            WHERE o.site_id = $1 AND {known_o} AND o.given_on BETWEEN $3 AND $4)
         SELECT DISTINCT ON (w.group_id, w.kind) w.group_id, w.kind, w.offer_id AS offer, w.given_on
           FROM (SELECT o.group_id, o.kind, o.offer_id, o.given_on FROM given o WHERE o.group_id IS NOT NULL
                 UNION
                 SELECT m.group_id, o.kind, o.offer_id, o.given_on FROM given o
                   JOIN placements p ON p.enclosure_id = o.enclosure_id AND {known_p} AND {then_p}
                   JOIN memberships m ON m.animal_id = p.animal_id AND m.site_id = $1 AND {known_m} AND {then_m}) w
          ORDER BY w.group_id, w.kind, w.given_on DESC, w.offer_id",
        known_i = known("i", 2),
        known_o = known("o", 2),
        known_p = known("p", 2),
        known_m = known("m", 2),
        then_p = at_offer("p"),
        then_m = at_offer("m"),
    );
    let values =
        [permit.site().id.into(), snapshot.known_at().into(), during.first.into(), during.last.into()];
    snapshot.rows(&sql, values).await
}

/// A death, of an animal or of offspring in a litter.
#[derive(Clone, Debug)]
pub struct Died {
    /// None where they were counted in a litter.
    pub animal: Option<Label>,
    pub record: Uuid,
    pub died_on: NaiveDate,
    /// How many.
    pub number: i64,
    pub manner: String,
    pub post_mortem: String,
    pub has_result: bool,
}

/// Deaths at a site.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn deaths(snapshot: &Snapshot, permit: &Permit, during: During) -> Result<Vec<Died>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Option<Uuid>,
        accession: Option<String>,
        house_name: Option<String>,
        record: Uuid,
        died_on: NaiveDate,
        number: i64,
        manner: String,
        post_mortem: String,
        has_result: bool,
    }
    let sql = format!(
        "SELECT d.animal_id, d.id AS record, d.died_on, 1::bigint AS number, d.manner, d.post_mortem,
                d.post_mortem_result <> '' AS has_result, {label}
           FROM deaths d WHERE d.site_id = $1 AND {known_d} AND d.died_on BETWEEN $3 AND $4
         UNION ALL
         SELECT NULL, c.id, c.happened_on, c.males + c.females + c.unknown, c.manner, '', false, NULL, NULL
           FROM litter_changes c
          WHERE c.site_id = $1 AND c.kind = 'died' AND {known_c} AND c.happened_on BETWEEN $3 AND $4
          ORDER BY died_on, record",
        label = label("d", 2),
        known_d = known("d", 2),
        known_c = known("c", 2),
    );
    let values =
        [permit.site().id.into(), snapshot.known_at().into(), during.first.into(), during.last.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let died = rows.into_iter().map(|row| Died {
        animal: row.animal_id.map(|id| Label {
            id,
            accession: row.accession.unwrap_or_default(),
            house_name: row.house_name.unwrap_or_default(),
        }),
        record: row.record,
        died_on: row.died_on,
        number: row.number,
        manner: row.manner,
        post_mortem: row.post_mortem,
        has_result: row.has_result,
    });
    Ok(died.collect())
}

/// A concern, and when a person first took it up or settled it.
#[derive(Clone, Debug)]
pub struct Raised {
    pub id: Uuid,
    /// Whom it is about, for people.
    pub about: String,
    pub raised_at: DateTime<Utc>,
    pub answered_at: Option<DateTime<Utc>>,
}

/// Concerns that were raised at a site.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn concerns(snapshot: &Snapshot, permit: &Permit, during: During) -> Result<Vec<Raised>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Option<Uuid>,
        accession: Option<String>,
        house_name: Option<String>,
        enclosure: Option<String>,
        device: Option<String>,
        taxon: Option<String>,
        raised_at: DateTime<Utc>,
        answered_at: Option<DateTime<Utc>>,
    }
    let sql = format!(
        "SELECT c.id, c.animal_id, e.name AS enclosure, k.scientific_name AS taxon, c.recorded_at AS raised_at,
                (SELECT v.name FROM devices v WHERE v.device_id = c.device_id AND v.recorded_at <= $2
                  ORDER BY v.recorded_at DESC LIMIT 1) AS device,
                (SELECT min(s.recorded_at) FROM concern_steps s WHERE s.concern_id = c.id
                    AND s.step IN ('taken_up', 'settled') AND s.recorded_at <= $2) AS answered_at, {label}
           FROM concerns c
           LEFT JOIN enclosures e ON e.id = c.enclosure_id
           LEFT JOIN taxon_names k ON k.taxon_id = c.taxon_id AND k.accepted AND {known_k}
          WHERE c.site_id = $1 AND c.recorded_at <= $2 AND c.recorded_at BETWEEN $3 AND $4
          ORDER BY c.recorded_at, c.id",
        label = label("c", 2),
        known_k = known("k", 2),
    );
    let values =
        [permit.site().id.into(), snapshot.known_at().into(), during.from.into(), during.until.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let about = |row: &Row| {
        let place = row.enclosure.as_deref().unwrap_or_default();
        match (row.animal_id, &row.device, &row.taxon) {
            (Some(id), ..) => Label {
                id,
                accession: row.accession.clone().unwrap_or_default(),
                house_name: row.house_name.clone().unwrap_or_default(),
            }
            .spoken(),
            (None, Some(device), _) => format!("{device} in {place}"),
            (None, None, taxon) => format!("{} in {place}", taxon.as_deref().unwrap_or_default()),
        }
    };
    let raised = rows.iter().map(|row| Raised {
        id: row.id,
        about: about(row),
        raised_at: row.raised_at,
        answered_at: row.answered_at,
    });
    Ok(raised.collect())
}

/// Since when each device of a site has been on record.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn devices_since(
    snapshot: &Snapshot,
    permit: &Permit,
) -> Result<HashMap<Uuid, DateTime<Utc>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        device_id: Uuid,
        since: DateTime<Utc>,
    }
    let sql = "SELECT d.device_id, min(d.recorded_at) AS since FROM devices d
                WHERE d.site_id = $1 AND d.recorded_at <= $2 GROUP BY d.device_id";
    let values = [permit.site().id.into(), snapshot.known_at().into()];
    let rows = snapshot.rows::<Row>(sql, values).await?;
    Ok(rows.into_iter().map(|row| (row.device_id, row.since)).collect())
}
