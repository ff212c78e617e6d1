//! Foods, plans, and what was given.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{feed, feed_plan, food};
use crate::error::{Error, stored};
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::animal::Label;
use crate::model::feeding::{Feed, Food, NewFood, Portion};
use crate::weights::{label, moment};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Mass;
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

/// Foods of a site by name.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn foods(snapshot: &Snapshot, permit: &Permit) -> Result<Vec<Food>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        food_id: Uuid,
        name: String,
        kcal_per_g: f64,
        source: String,
        note: String,
    }
    let sql = format!(
        "SELECT f.food_id, f.name, f.kcal_per_g, f.source, f.note FROM foods f
          WHERE f.site_id = $1 AND {} ORDER BY lower(f.name)",
        known("f", 2)
    );
    let rows = snapshot.rows::<Row>(&sql, [permit.site().id.into(), snapshot.known_at().into()]).await?;
    Ok(rows
        .into_iter()
        .map(|row| Food {
            id: row.food_id,
            name: row.name,
            kcal_per_g: row.kcal_per_g,
            source: row.source,
            note: row.note,
        })
        .collect())
}

/// Says something of a food, in place of what stood where it is one on record.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn set_food(
    tx: &mut Tx,
    permit: &Permit,
    on_record: Option<Uuid>,
    new: &NewFood,
    why: &str,
) -> Result<Food, Error> {
    if let Some(of) = on_record {
        let standing = food::Entity::find()
            .filter(food::Column::FoodId.eq(of))
            .filter(food::Column::SupersededAt.is_null())
            .one(tx.txn())
            .await?;
        let old = standing.ok_or(Error::Contention)?;
        tx.supersede::<food::Entity>(old.id, why).await?;
    }
    let id = on_record.unwrap_or_else(|| tx.new_id());
    let row = fact!(
        tx,
        food::Model {
            id: tx.new_id(),
            food_id: id,
            site_id: permit.site().id,
            name: new.name.clone(),
            kcal_per_g: new.kcal_per_g,
            source: new.source.clone(),
            note: new.note.clone(),
        }
    );
    tx.insert(&[row]).await?;
    Ok(Food {
        id,
        name: new.name.clone(),
        kcal_per_g: new.kcal_per_g,
        source: new.source.clone(),
        note: new.note.clone(),
    })
}

/// Says what a group is given from a day on, in place of what was said of that day before.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn set_plan(
    tx: &mut Tx,
    permit: &Permit,
    group: Uuid,
    from: NaiveDate,
    portions: &[Portion],
    why: &str,
) -> Result<(), Error> {
    let standing = feed_plan::Entity::find()
        .filter(feed_plan::Column::GroupId.eq(group))
        .filter(feed_plan::Column::BeginsOn.eq(from))
        .filter(feed_plan::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    if let Some(old) = standing {
        tx.supersede::<feed_plan::Entity>(old.id, why).await?;
    }
    let row = fact!(
        tx,
        feed_plan::Model {
            id: tx.new_id(),
            site_id: permit.site().id,
            group_id: group,
            begins_on: from,
            content: serde_json::to_value(portions)?,
        }
    );
    tx.insert(&[row]).await
}

/// What a group is given on a day, and since which day that holds.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn plan(
    snapshot: &Snapshot,
    permit: &Permit,
    group: Uuid,
    day: NaiveDate,
) -> Result<Option<(NaiveDate, Vec<Portion>)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        begins_on: NaiveDate,
        content: serde_json::Value,
    }
    let sql = format!(
        "SELECT p.id, p.begins_on, p.content FROM feed_plans p
          WHERE p.site_id = $1 AND {} AND p.group_id = $3 AND p.begins_on <= $4
          ORDER BY p.begins_on DESC LIMIT 1",
        known("p", 2)
    );
    let values = [permit.site().id.into(), snapshot.known_at().into(), group.into(), day.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let read = |row: Row| Ok((row.begins_on, stored("feed_plans", "content", row.content)?));
    Ok(snapshot.legible("feeding plan", rows, |row| row.id, read)?.pop())
}

/// Something that was given, with everything that is told of it by identifiers.
#[derive(Clone, Debug)]
pub struct NewRow {
    pub group: Option<Uuid>,
    pub animal: Option<Uuid>,
    pub food: Uuid,
    pub given_at: DateTime<Utc>,
    pub given: crate::model::feeding::NewFeed,
}

/// Records what was given; answers the identifiers, in the same order.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(tx: &mut Tx, permit: &Permit, new: &[NewRow]) -> Result<Vec<Uuid>, Error> {
    let rows: Vec<feed::Model> = new
        .iter()
        .map(|new| {
            fact!(
                tx,
                feed::Model {
                    id: tx.new_id(),
                    feed_id: tx.new_id(),
                    site_id: permit.site().id,
                    group_id: new.group,
                    animal_id: new.animal,
                    food_id: new.food,
                    given_at: new.given_at,
                    given_on: permit.site().day_of(new.given_at),
                    given_mg: new.given.given.mg(),
                    left_mg: new.given.left.map(Mass::mg),
                    lasted_minutes: new.given.lasted_minutes,
                    method: new.given.method.as_str().to_owned(),
                    as_enrichment: new.given.as_enrichment,
                    note: new.given.note.clone(),
                }
            )
        })
        .collect();
    tx.insert(&rows).await?;
    Ok(rows.into_iter().map(|row| row.feed_id).collect())
}

async fn standing(tx: &Tx, id: Uuid) -> Result<feed::Model, Error> {
    let row = feed::Entity::find()
        .filter(feed::Column::FeedId.eq(id))
        .filter(feed::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    row.ok_or(Error::Contention)
}

/// Says what was left of something that was given.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn set_left(tx: &mut Tx, id: Uuid, left: Mass, lasted_minutes: Option<i32>) -> Result<(), Error> {
    let old = standing(tx, id).await?;
    tx.supersede::<feed::Entity>(old.id, "what was left").await?;
    let row = fact!(
        tx,
        feed::Model {
            id: tx.new_id(),
            feed_id: old.feed_id,
            site_id: old.site_id,
            group_id: old.group_id,
            animal_id: old.animal_id,
            food_id: old.food_id,
            given_at: old.given_at,
            given_on: old.given_on,
            given_mg: old.given_mg,
            left_mg: Some(left.mg()),
            lasted_minutes: lasted_minutes,
            method: old.method,
            as_enrichment: old.as_enrichment,
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
    tx.supersede::<feed::Entity>(old.id, why).await
}

/// Which feeds are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    pub ids: Option<Vec<Uuid>>,
    pub group: Option<Uuid>,
    /// Given to one of these alone.
    pub animals: Option<Vec<Uuid>>,
    /// To the group, or to one of these alone.
    pub group_or: Option<(Uuid, Vec<Uuid>)>,
    pub days: Option<(NaiveDate, NaiveDate)>,
    /// Key of the last entry before.
    pub after: Option<String>,
}

/// What was given at a site, newest first, at most so many.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn feeds(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: Wanted,
    most: i64,
) -> Result<Vec<Feed>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        feed_id: Uuid,
        group_name: Option<String>,
        animal_id: Option<Uuid>,
        accession: Option<String>,
        house_name: Option<String>,
        food: String,
        kcal_per_g: f64,
        given_at: DateTime<Utc>,
        given_on: NaiveDate,
        given_mg: i64,
        left_mg: Option<i64>,
        lasted_minutes: Option<i32>,
        method: String,
        as_enrichment: bool,
        note: String,
        recorded_at: DateTime<Utc>,
    }
    let mut filter = Filter::after([permit.site().id.into(), snapshot.known_at().into()]);
    filter.and("f.feed_id = ANY (?)", wanted.ids.map(|ids| [ids.into()]));
    filter.and("f.group_id = ?", wanted.group.map(|group| [group.into()]));
    filter.and("f.animal_id = ANY (?)", wanted.animals.map(|animals| [animals.into()]));
    let either = wanted.group_or.map(|(group, animals)| [group.into(), animals.into()]);
    filter.and("(f.group_id = ? OR f.animal_id = ANY (?))", either);
    filter.and("f.given_on BETWEEN ? AND ?", wanted.days.map(|(first, last)| [first.into(), last.into()]));
    let after = wanted.after.as_deref().and_then(moment).map(|(at, id)| [at.into(), id.into()]);
    filter.and("(f.given_at, f.feed_id) < (?, ?)", after);
    let (filter, last, values) = filter.then(most);
    let sql = format!(
        "SELECT f.feed_id, g.name AS group_name, f.animal_id, {label}, o.name AS food, o.kcal_per_g, f.given_at,
                f.given_on, f.given_mg, f.left_mg, f.lasted_minutes, f.method, f.as_enrichment, f.note,
                f.recorded_at
           FROM feeds f
           JOIN foods o ON o.food_id = f.food_id AND o.site_id = f.site_id AND {known_o}
           LEFT JOIN groups g ON g.id = f.group_id
          WHERE f.site_id = $1 AND {known_f}{filter}
          ORDER BY f.given_at DESC, f.feed_id DESC LIMIT ${last}",
        label = label("f", 2),
        known_o = known("o", 2),
        known_f = known("f", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            let animal = row.animal_id.map(|id| Label {
                id,
                accession: row.accession.unwrap_or_default(),
                house_name: row.house_name.unwrap_or_default(),
            });
            Ok(Feed {
                id: row.feed_id,
                site: permit.site().code.clone(),
                group: row.group_name.unwrap_or_default(),
                animal,
                food: row.food,
                kcal_per_g: row.kcal_per_g,
                given: Mass::from_mg(row.given_mg),
                given_at: row.given_at,
                given_on: row.given_on,
                method: stored("feeds", "method", row.method)?,
                as_enrichment: row.as_enrichment,
                left: row.left_mg.map(Mass::from_mg),
                lasted_minutes: row.lasted_minutes,
                note: row.note,
                recorded_at: row.recorded_at,
            })
        })
        .collect()
}
