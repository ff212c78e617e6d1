//! What is usual in a species, and what the weights of its animals are seen against.

use crate::animals::sex;
use crate::doors::{Snapshot, Tx};
use crate::entity::taxon_trait;
use crate::error::Error;
use crate::facts::known;
use crate::model::traits::{EnergyNeed, Traits};
use chrono::NaiveDate;
use holt_audit::terms::Sex;
use sea_orm::{EntityTrait, FromQueryResult, QueryOrder};
use std::collections::HashMap;
use uuid::Uuid;

fn traits(row: taxon_trait::Model) -> (Uuid, Traits) {
    let energy = match (row.rest_kcal, row.need_low, row.need_high) {
        (Some(rest_kcal), Some(low), Some(high)) => Some(EnergyNeed { rest_kcal, low, high }),
        _ => None,
    };
    (
        row.taxon_id,
        Traits { gestation_days: row.gestation_days, seasonal: row.seasonal, energy, source: row.source },
    )
}

/// What was said last of all species, by species.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all(snapshot: &Snapshot) -> Result<HashMap<Uuid, Traits>, Error> {
    // The later one takes the place of the earlier.
    let rows = taxon_trait::Entity::find()
        .order_by_asc(taxon_trait::Column::RecordedAt)
        .order_by_asc(taxon_trait::Column::Id)
        .all(snapshot.txn())
        .await?;
    Ok(rows.into_iter().map(traits).collect())
}

/// Says what is usual in a species; it stands from now on.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn describe(tx: &mut Tx, taxon: Uuid, new: &Traits) -> Result<(), Error> {
    let row = taxon_trait::Model {
        id: tx.new_id(),
        taxon_id: taxon,
        gestation_days: new.gestation_days,
        seasonal: new.seasonal,
        rest_kcal: new.energy.map(|energy| energy.rest_kcal),
        need_low: new.energy.map(|energy| energy.low),
        need_high: new.energy.map(|energy| energy.high),
        source: new.source.clone(),
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await
}

/// Of which species these animals are: species and animal, in order of both.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn kinds(snapshot: &Snapshot, animals: &[Uuid]) -> Result<Vec<(Uuid, Uuid)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        taxon_id: Uuid,
        id: Uuid,
    }
    let sql = "SELECT a.taxon_id, a.id FROM animals a WHERE a.id = ANY ($1) ORDER BY 1, 2";
    let rows = snapshot.rows::<Row>(sql, [animals.to_vec().into()]).await?;
    Ok(rows.into_iter().map(|row| (row.taxon_id, row.id)).collect())
}

/// What the weight of an animal depends on, besides when it was weighed.
#[derive(Clone, Debug)]
pub struct Behind {
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
}

/// Days of birth that are known no better than this say nothing about when the dam gave birth.
const VAGUE_DAYS: i32 = 31;

/// What the weights of these animals depend on. That a dam gave birth is told by her young.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn behind(snapshot: &Snapshot, animals: &[Uuid]) -> Result<HashMap<Uuid, Behind>, Error> {
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
        born_on: Option<NaiveDate>,
    }
    let sql = format!(
        "SELECT a.id AS animal_id, a.taxon_id, k.scientific_name, coalesce(t.seasonal, false) AS seasonal, t.gestation_days,
                (SELECT x.sex FROM sexings x WHERE x.animal_id = a.id AND {known_x}
                  ORDER BY x.determined_on DESC LIMIT 1) AS sex,
                o.born_first AS own_birth, k.breeds_from_days, y.born_on
           FROM animals a
           JOIN taxon_names k ON k.taxon_id = a.taxon_id AND k.accepted AND {known_k}
           LEFT JOIN births o ON o.animal_id = a.id AND {known_o} AND NOT o.estimated AND o.born_first = o.born_last
           LEFT JOIN LATERAL (
             SELECT x.seasonal, x.gestation_days FROM taxon_traits x
              WHERE x.taxon_id = a.taxon_id AND x.recorded_at <= $2
              ORDER BY x.recorded_at DESC, x.id DESC LIMIT 1) t ON true
           LEFT JOIN LATERAL (
             SELECT b.born_last AS born_on FROM parents p
               JOIN births b ON b.animal_id = p.animal_id AND {known_b}
              WHERE p.parent_id = a.id AND p.kind = 'dam' AND {known_p} AND NOT b.estimated
                AND b.born_last - b.born_first <= $3
             UNION
             SELECT l.born_on FROM litter_parents q
               JOIN litters l ON l.id = q.litter_id AND l.recorded_at <= $2
              WHERE q.parent_id = a.id AND q.kind = 'dam' AND {known_q}) y ON true
          WHERE a.id = ANY ($1) ORDER BY a.id, y.born_on",
        known_x = known("x", 2),
        known_k = known("k", 2),
        known_o = known("o", 2),
        known_b = known("b", 2),
        known_p = known("p", 2),
        known_q = known("q", 2),
    );
    let values = [animals.to_vec().into(), snapshot.known_at().into(), VAGUE_DAYS.into()];
    let mut behind: HashMap<Uuid, Behind> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, values).await? {
        let sex = row.sex.as_deref().map_or(Ok(Sex::Unknown), sex)?;
        let of_it = behind.entry(row.animal_id).or_insert_with(|| Behind {
            taxon: row.taxon_id,
            species: row.scientific_name.clone(),
            seasonal: row.seasonal,
            gestation_days: row.gestation_days,
            sex,
            born_on: row.own_birth,
            breeds_from_days: row.breeds_from_days,
            births: Vec::new(),
        });
        of_it.births.extend(row.born_on);
    }
    Ok(behind)
}
