//! Partners: what sites show to others for this purpose, the living that are compared, and who searched.

use crate::access::permit::Permit;
use crate::animals::sex;
use crate::doors::{Snapshot, Tx};
use crate::entity::{partner_search, partner_term};
use crate::error::Error;
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::page::{Page, Slice};
use crate::model::partner::{Living, Searched, Terms};
use crate::weights::moment;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::pairing::Taken;
use holt_audit::terms::Sex;
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

/// Says what a site shows, in place of what it said before.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn set_terms(tx: &mut Tx, permit: &Permit, shows_cards: bool, note: &str) -> Result<(), Error> {
    let standing = partner_term::Entity::find()
        .filter(partner_term::Column::SiteId.eq(permit.site().id))
        .filter(partner_term::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    if let Some(old) = standing {
        tx.supersede::<partner_term::Entity>(old.id, "other terms").await?;
    }
    let row = fact!(
        tx,
        partner_term::Model {
            id: tx.new_id(),
            site_id: permit.site().id,
            shows_cards: shows_cards,
            note: note.to_owned(),
        }
    );
    tx.insert(&[row]).await
}

/// What the sites say that show cards, and what one says in any case, by code.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn terms(snapshot: &Snapshot, own: Uuid) -> Result<Vec<Terms>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        site: String,
        shows_cards: Option<bool>,
        note: Option<String>,
        recorded_at: Option<DateTime<Utc>>,
    }
    let rows = snapshot
        .rows::<Row>(
            "SELECT s.code AS site, t.shows_cards, t.note, t.recorded_at
               FROM sites s LEFT JOIN partner_terms t ON t.site_id = s.id AND t.superseded_at IS NULL
              WHERE s.id = $1 OR t.shows_cards ORDER BY s.code",
            [own.into()],
        )
        .await?;
    let told = |row: Row| Terms {
        site: row.site,
        shows_cards: row.shows_cards.unwrap_or(false),
        note: row.note.unwrap_or_default(),
        recorded_at: row.recorded_at,
    };
    Ok(rows.into_iter().map(told).collect())
}

/// The living of a species at a site and at all that show cards. Looks with leave to read everywhere: of what it finds at
/// other sites, cards alone are for the asker.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn living(
    snapshot: &Snapshot,
    taxon: Uuid,
    own: Uuid,
    at: DateTime<Utc>,
) -> Result<Vec<Living>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        site_id: Uuid,
        sex: Option<String>,
        born_first: Option<NaiveDate>,
        born_last: Option<NaiveDate>,
        concern: bool,
        moves: bool,
        breeds: bool,
        room: Option<i32>,
    }
    let sql = format!(
        "WITH shown AS MATERIALIZED (
           SELECT site_id FROM partner_terms WHERE superseded_at IS NULL AND shows_cards UNION SELECT $2
         ), full_to AS MATERIALIZED (
           SELECT p.enclosure_id, count(*)::integer AS animals FROM placements p JOIN shown USING (site_id)
            WHERE {known_p} AND p.ended_at IS NULL GROUP BY p.enclosure_id
         )
         SELECT h.animal_id, h.site_id, x.sex, b.born_first, b.born_last,
                EXISTS (SELECT FROM concerns c WHERE c.animal_id = h.animal_id AND c.site_id = h.site_id
                           AND c.state <> 'settled' AND (SELECT q.level FROM concern_steps q
                             WHERE q.site_id = c.site_id AND q.concern_id = c.id ORDER BY q.seq DESC LIMIT 1)
                           IN ('act', 'urgent')) AS concern,
                EXISTS (SELECT FROM transfers m WHERE m.animal_id = h.animal_id
                           AND m.state IN ('proposed', 'agreed', 'dispatched')) AS moves,
                EXISTS (SELECT FROM memberships g WHERE g.animal_id = h.animal_id AND {known_g}
                           AND g.ended_at IS NULL AND g.role = 'breeding') AS breeds,
                (SELECT e.capacity - f.animals FROM placements l JOIN enclosures e ON e.id = l.enclosure_id
                   JOIN full_to f ON f.enclosure_id = e.id
                  WHERE l.animal_id = h.animal_id AND {known_l} AND l.ended_at IS NULL AND e.capacity > 0) AS room
           FROM holdings h
           JOIN shown ON shown.site_id = h.site_id
           JOIN animals a ON a.id = h.animal_id AND a.taxon_id = $3
           LEFT JOIN births b ON b.animal_id = h.animal_id AND {known_b}
           LEFT JOIN LATERAL (SELECT y.sex FROM sexings y WHERE y.animal_id = h.animal_id AND {known_y}
                               ORDER BY y.determined_on DESC LIMIT 1) x ON true
          WHERE {known_h} AND h.began_at <= $4 AND h.ended_at IS NULL
          ORDER BY h.animal_id",
        known_p = known("p", 1),
        known_g = known("g", 1),
        known_l = known("l", 1),
        known_b = known("b", 1),
        known_y = known("y", 1),
        known_h = known("h", 1),
    );
    let values = [snapshot.known_at().into(), own.into(), taxon.into(), at.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            let taken =
                [(row.concern, Taken::Concern), (row.moves, Taken::Moves), (row.breeds, Taken::Breeds)];
            Ok(Living {
                animal: row.animal_id,
                site: row.site_id,
                sex: row.sex.as_deref().map_or(Ok(Sex::Unknown), sex)?,
                born: row.born_first.zip(row.born_last),
                taken: taken.into_iter().find_map(|(so, taken)| so.then_some(taken)),
                room: row.room,
            })
        })
        .collect()
}

/// Records a search, with the other sites whose animals it compared.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn searched(
    tx: &mut Tx,
    permit: &Permit,
    taxon: Uuid,
    shown: Vec<Uuid>,
    cards: i32,
) -> Result<(), Error> {
    let row = partner_search::Model {
        id: tx.new_id(),
        site_id: permit.site().id,
        taxon_id: taxon,
        shown,
        cards,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await
}

/// Searches that a site made, and those that compared its animals, latest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn searches(snapshot: &Snapshot, permit: &Permit, page: &Page) -> Result<Slice<Searched>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        site: String,
        taxon: String,
        cards: i32,
        recorded_at: DateTime<Utc>,
    }
    let mut filter = Filter::after([permit.site().id.into(), snapshot.known_at().into()]);
    let after = page.after.as_deref().and_then(moment).map(|(at, id)| [at.into(), id.into()]);
    filter.and("(x.recorded_at, x.id) < (?, ?)", after);
    let (filter, last, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT x.id, s.code AS site, t.scientific_name AS taxon, x.cards, x.recorded_at
           FROM partner_searches x JOIN sites s ON s.id = x.site_id
           {described}
          WHERE (x.site_id = $1 OR x.shown @> ARRAY[$1]::uuid[]) AND x.recorded_at <= $2{filter}
          ORDER BY x.recorded_at DESC, x.id DESC LIMIT ${last}",
        described = crate::taxa::described("x.taxon_id", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let told = |row: Row| Searched {
        id: row.id,
        site: row.site,
        taxon: row.taxon,
        cards: row.cards,
        at: row.recorded_at,
    };
    let all = rows.into_iter().map(told).collect();
    Ok(Slice::cut(all, page, |one: &Searched| format!("{} {}", one.at.to_rfc3339(), one.id)))
}
