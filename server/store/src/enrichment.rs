//! Items of enrichment, what holds for groups, and what was offered.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{enrichment_item, enrichment_offer, enrichment_term};
use crate::error::{Error, stored};
use crate::facts::{covers, fact, known};
use crate::filter::Filter;
use crate::model::enrichment::{Content, Item, Met, Offer, Terms};
use crate::taxa;
use crate::weights::moment;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::enrichment::Kind;
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use std::collections::HashMap;
use uuid::Uuid;

/// A kind as it is stored.
const fn kind_text(kind: Kind) -> &'static str {
    match kind {
        Kind::Food => "food",
        Kind::Sensory => "sensory",
        Kind::Structural => "structural",
        Kind::Social => "social",
        Kind::Cognitive => "cognitive",
    }
}

/// Items of a site by name, also those that are out of use.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn items(snapshot: &Snapshot, permit: &Permit) -> Result<Vec<Item>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        item_id: Uuid,
        name: String,
        kind: String,
        content: serde_json::Value,
        out_of_use: bool,
    }
    let sql = format!(
        "SELECT i.item_id, i.name, i.kind, i.content, i.out_of_use FROM enrichment_items i
          WHERE i.site_id = $1 AND {} ORDER BY lower(i.name)",
        known("i", 2)
    );
    let rows = snapshot.rows::<Row>(&sql, [permit.site().id.into(), snapshot.known_at().into()]).await?;
    let all = taxa::all(snapshot).await?;
    let names: HashMap<Uuid, String> =
        all.into_iter().map(|taxon| (taxon.id, taxon.scientific_name)).collect();
    snapshot.legible(
        "enrichment item",
        rows,
        |row| row.item_id,
        |row| {
            let content: Content = stored("enrichment_items", "content", row.content)?;
            let species = content.not_for.into_iter();
            Ok(Item {
                id: row.item_id,
                name: row.name,
                kind: stored("enrichment_items", "kind", row.kind)?,
                content: Content {
                    staff_minutes: content.staff_minutes,
                    rest_days: content.rest_days,
                    hazards: content.hazards,
                    not_for: species.map(|id| (id, names.get(&id).cloned().unwrap_or_default())).collect(),
                    kcal: content.kcal,
                    note: content.note,
                },
                out_of_use: row.out_of_use,
            })
        },
    )
}

/// Says something of an item, in place of what stood where it is one on record. Answers its identifier.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn set_item(
    tx: &mut Tx,
    permit: &Permit,
    on_record: Option<Uuid>,
    (name, kind, content, out_of_use): (&str, Kind, &Content, bool),
    why: &str,
) -> Result<Uuid, Error> {
    if let Some(of) = on_record {
        let standing = enrichment_item::Entity::find()
            .filter(enrichment_item::Column::ItemId.eq(of))
            .filter(enrichment_item::Column::SupersededAt.is_null())
            .one(tx.txn())
            .await?;
        let old = standing.ok_or(Error::Contention)?;
        tx.supersede::<enrichment_item::Entity>(old.id, why).await?;
    }
    let id = on_record.unwrap_or_else(|| tx.new_id());
    let row = fact!(
        tx,
        enrichment_item::Model {
            id: tx.new_id(),
            item_id: id,
            site_id: permit.site().id,
            name: name.to_owned(),
            kind: kind_text(kind).to_owned(),
            content: serde_json::to_value(content)?,
            out_of_use: out_of_use,
        }
    );
    tx.insert(&[row]).await?;
    Ok(id)
}

/// What holds for a group; the usual where nothing was said.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn terms(snapshot: &Snapshot, permit: &Permit, group: Uuid) -> Result<Terms, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        content: serde_json::Value,
    }
    let sql = format!(
        "SELECT t.id, t.content FROM enrichment_terms t WHERE t.site_id = $1 AND {} AND t.group_id = $3",
        known("t", 2)
    );
    let values = [permit.site().id.into(), snapshot.known_at().into(), group.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let read = |row: Row| stored("enrichment_terms", "content", row.content);
    let mut terms = snapshot.legible("enrichment terms", rows, |row| row.id, read)?;
    Ok(terms.pop().unwrap_or_default())
}

/// Says what holds for a group, in place of what held before.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn set_terms(
    tx: &mut Tx,
    permit: &Permit,
    group: Uuid,
    terms: &Terms,
    why: &str,
) -> Result<(), Error> {
    let standing = enrichment_term::Entity::find()
        .filter(enrichment_term::Column::GroupId.eq(group))
        .filter(enrichment_term::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    if let Some(old) = standing {
        tx.supersede::<enrichment_term::Entity>(old.id, why).await?;
    }
    let row = fact!(
        tx,
        enrichment_term::Model {
            id: tx.new_id(),
            site_id: permit.site().id,
            group_id: group,
            content: serde_json::to_value(terms)?,
        }
    );
    tx.insert(&[row]).await
}

/// Something that was offered, with everything that is told of it by identifiers.
#[derive(Clone, Debug)]
pub struct NewRow {
    pub group: Option<Uuid>,
    pub enclosure: Option<Uuid>,
    pub item: Uuid,
    pub given_at: DateTime<Utc>,
    pub met: Met,
    pub note: String,
}

/// Records what was offered; answers the identifiers, in the same order.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(tx: &mut Tx, permit: &Permit, new: &[NewRow]) -> Result<Vec<Uuid>, Error> {
    let rows: Vec<enrichment_offer::Model> = new
        .iter()
        .map(|new| {
            fact!(
                tx,
                enrichment_offer::Model {
                    id: tx.new_id(),
                    offer_id: tx.new_id(),
                    site_id: permit.site().id,
                    group_id: new.group,
                    enclosure_id: new.enclosure,
                    item_id: new.item,
                    given_at: new.given_at,
                    given_on: permit.site().day_of(new.given_at),
                    response: new.met.response.map(|response| response.as_str().to_owned()),
                    used_minutes: new.met.used_minutes,
                    note: new.note.clone(),
                }
            )
        })
        .collect();
    tx.insert(&rows).await?;
    Ok(rows.into_iter().map(|row| row.offer_id).collect())
}

async fn standing(tx: &Tx, id: Uuid) -> Result<enrichment_offer::Model, Error> {
    let row = enrichment_offer::Entity::find()
        .filter(enrichment_offer::Column::OfferId.eq(id))
        .filter(enrichment_offer::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    row.ok_or(Error::Contention)
}

/// Says how something that was offered was met.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn set_met(tx: &mut Tx, id: Uuid, met: Met) -> Result<(), Error> {
    let old = standing(tx, id).await?;
    tx.supersede::<enrichment_offer::Entity>(old.id, "how it was met").await?;
    let row = fact!(
        tx,
        enrichment_offer::Model {
            id: tx.new_id(),
            offer_id: old.offer_id,
            site_id: old.site_id,
            group_id: old.group_id,
            enclosure_id: old.enclosure_id,
            item_id: old.item_id,
            given_at: old.given_at,
            given_on: old.given_on,
            response: met.response.map(|response| response.as_str().to_owned()),
            used_minutes: met.used_minutes,
            note: old.note,
        }
    );
    tx.insert(&[row]).await
}

/// Takes back a record.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn withdraw(tx: &mut Tx, id: Uuid, why: &str) -> Result<(), Error> {
    let old = standing(tx, id).await?;
    tx.supersede::<enrichment_offer::Entity>(old.id, why).await
}

/// Which offers are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    pub ids: Option<Vec<Uuid>>,
    /// To this group, or in an enclosure where a member of it lived then.
    pub group: Option<Uuid>,
    /// In this enclosure.
    pub enclosure: Option<Uuid>,
    pub days: Option<(NaiveDate, NaiveDate)>,
    /// Key of the last entry before.
    pub after: Option<String>,
    /// At most so many; all where none.
    pub most: Option<i64>,
}

/// What was offered at a site, newest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn offers(snapshot: &Snapshot, permit: &Permit, wanted: Wanted) -> Result<Vec<Offer>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        offer_id: Uuid,
        group_name: Option<String>,
        enclosure: Option<String>,
        item_id: Uuid,
        item: String,
        kind: String,
        content: serde_json::Value,
        given_at: DateTime<Utc>,
        given_on: NaiveDate,
        response: Option<String>,
        used_minutes: Option<i32>,
        note: String,
        recorded_at: DateTime<Utc>,
    }
    let during = |alias: &str| {
        format!(
            "{alias}.began_at <= o.given_at AND ({alias}.ended_at IS NULL OR {alias}.ended_at > o.given_at)"
        )
    };
    let to_group = format!(
        "(o.group_id = ? OR EXISTS (
            SELECT FROM memberships m JOIN placements p ON p.animal_id = m.animal_id AND {known_p} AND {during_p}
             WHERE m.group_id = ? AND {known_m} AND {during_m} AND p.enclosure_id = o.enclosure_id))",
        known_p = known("p", 2),
        known_m = known("m", 2),
        during_p = during("p"),
        during_m = during("m"),
    );
    let mut filter = Filter::after([permit.site().id.into(), snapshot.known_at().into()]);
    filter.and("o.offer_id = ANY (?)", wanted.ids.map(|ids| [ids.into()]));
    filter.and(&to_group, wanted.group.map(|group| [group.into(), group.into()]));
    filter.and("o.enclosure_id = ?", wanted.enclosure.map(|enclosure| [enclosure.into()]));
    filter.and("o.given_on BETWEEN ? AND ?", wanted.days.map(|(first, last)| [first.into(), last.into()]));
    let after = wanted.after.as_deref().and_then(moment).map(|(at, id)| [at.into(), id.into()]);
    filter.and("(o.given_at, o.offer_id) < (?, ?)", after);
    let (filter, last, values) = filter.then(wanted.most.unwrap_or(i64::MAX));
    let sql = format!(
        "SELECT o.offer_id, g.name AS group_name, e.name AS enclosure, o.item_id, i.name AS item, i.kind, i.content,
                o.given_at, o.given_on, o.response, o.used_minutes, o.note, o.recorded_at
           FROM enrichment_offers o
           JOIN enrichment_items i ON i.item_id = o.item_id AND i.site_id = o.site_id AND {known_i}
           LEFT JOIN groups g ON g.id = o.group_id
           LEFT JOIN enclosures e ON e.id = o.enclosure_id
          WHERE o.site_id = $1 AND {known_o}{filter}
          ORDER BY o.given_at DESC, o.offer_id DESC LIMIT ${last}",
        known_i = known("i", 2),
        known_o = known("o", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            let kcal = match stored::<Content>("enrichment_items", "content", row.content) {
                Ok(content) => content.kcal,
                Err(error) => {
                    snapshot.cannot_read("enrichment item", row.item_id, error)?;
                    None
                }
            };
            let response = row.response.map(|text| stored("enrichment_offers", "response", text));
            Ok(Offer {
                id: row.offer_id,
                site: permit.site().code.clone(),
                group: row.group_name.unwrap_or_default(),
                enclosure: row.enclosure.unwrap_or_default(),
                item: row.item_id,
                item_name: row.item,
                kind: stored("enrichment_items", "kind", row.kind)?,
                kcal,
                given_at: row.given_at,
                given_on: row.given_on,
                met: Met { response: response.transpose()?, used_minutes: row.used_minutes },
                note: row.note,
                recorded_at: row.recorded_at,
            })
        })
        .collect()
}

/// Species of the members of a group at an instant.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn species_of_group(
    snapshot: &Snapshot,
    permit: &Permit,
    group: Uuid,
    at: DateTime<Utc>,
) -> Result<Vec<Uuid>, Error> {
    let sql = format!(
        "SELECT DISTINCT a.taxon_id FROM memberships x JOIN animals a ON a.id = x.animal_id
          WHERE x.site_id = $1 AND x.group_id = $4 AND {} AND {}",
        known("x", 2),
        covers("x", 3)
    );
    species(snapshot, permit, &sql, at, group).await
}

/// Species of the animals that live in an enclosure at an instant.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn species_in(
    snapshot: &Snapshot,
    permit: &Permit,
    enclosure: Uuid,
    at: DateTime<Utc>,
) -> Result<Vec<Uuid>, Error> {
    let sql = format!(
        "SELECT DISTINCT a.taxon_id FROM placements x JOIN animals a ON a.id = x.animal_id
          WHERE x.site_id = $1 AND x.enclosure_id = $4 AND {} AND {}",
        known("x", 2),
        covers("x", 3)
    );
    species(snapshot, permit, &sql, at, enclosure).await
}

async fn species(
    snapshot: &Snapshot,
    permit: &Permit,
    sql: &str,
    at: DateTime<Utc>,
    of: Uuid,
) -> Result<Vec<Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        taxon_id: Uuid,
    }
    let values = [permit.site().id.into(), snapshot.known_at().into(), at.into(), of.into()];
    Ok(snapshot.rows::<Row>(sql, values).await?.into_iter().map(|row| row.taxon_id).collect())
}
