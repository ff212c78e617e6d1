//! What is usual in a species, and what the weights of its animals are seen against.

use crate::doors::{Snapshot, Tx};
use crate::entity::taxon_trait;
use crate::error::Error;
use crate::facts::known;
use crate::model::traits::{EnergyNeed, Traits};
use crate::taxa::described;
use chrono::NaiveDate;
use holt_audit::terms::Span;
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

/// What the weights of an animal are seen against.
#[derive(Clone, Debug)]
pub struct Behind {
    pub taxon: Uuid,
    pub seasonal: bool,
    /// When it carried young, by their births: in order, without overlap.
    pub gravid: Vec<Span>,
    /// Its day of birth, where that is known to the day.
    pub born_on: Option<NaiveDate>,
    /// Age in days from which its species breeds, where that is said.
    pub breeds_from_days: Option<i32>,
}

/// Days of birth that are known no better than this say nothing about when the dam carried.
const VAGUE_DAYS: i32 = 31;

/// What the weights of these animals are seen against. That a dam carried is told by the births of her
/// young, where it is said how long that takes in her species.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn behind(snapshot: &Snapshot, animals: &[Uuid]) -> Result<HashMap<Uuid, Behind>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        taxon_id: Uuid,
        seasonal: bool,
        own_birth: Option<NaiveDate>,
        breeds_from_days: Option<i32>,
        began_on: Option<NaiveDate>,
        born_on: Option<NaiveDate>,
    }
    let sql = format!(
        "SELECT a.id AS animal_id, a.taxon_id, coalesce(t.seasonal, false) AS seasonal,
                o.born_first AS own_birth, k.breeds_from_days,
                y.born_on - t.gestation_days AS began_on, y.born_on
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
               JOIN litters l ON l.id = q.litter_id
              WHERE q.parent_id = a.id AND q.kind = 'dam' AND {known_q}) y ON t.gestation_days IS NOT NULL
          WHERE a.id = ANY ($1) ORDER BY a.id, y.born_on",
        known_k = known("k", 2),
        known_o = known("o", 2),
        known_b = known("b", 2),
        known_p = known("p", 2),
        known_q = known("q", 2),
    );
    let values = [animals.to_vec().into(), snapshot.known_at().into(), VAGUE_DAYS.into()];
    let mut behind: HashMap<Uuid, Behind> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, values).await? {
        let of_it = behind.entry(row.animal_id).or_insert_with(|| Behind {
            taxon: row.taxon_id,
            seasonal: row.seasonal,
            gravid: Vec::new(),
            born_on: row.own_birth,
            breeds_from_days: row.breeds_from_days,
        });
        if let (Some(from), Some(born_on)) = (row.began_on, row.born_on) {
            // The day of birth is the first on which she weighs what is her own.
            match of_it.gravid.last_mut() {
                Some(before) if before.until.is_some_and(|until| from <= until) => {
                    before.until = Some(born_on);
                }
                _ => of_it.gravid.push(Span { from, until: Some(born_on) }),
            }
        }
    }
    Ok(behind)
}

/// What an animal weighed in a week.
#[derive(Clone, Copy, Debug)]
pub struct Weekly {
    pub animal: Uuid,
    pub taxon: Uuid,
    /// The Monday of the week.
    pub monday: NaiveDate,
    /// Mean of ln grams.
    pub log: f64,
}

/// What the grown animals of some species weighed at a site, week by week, by animal and week. Grown are
/// those of an age that can breed, a year where that is not stated, and those of unknown age.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn weekly(
    snapshot: &Snapshot,
    site: Uuid,
    taxa: &[Uuid],
    first: NaiveDate,
    last: NaiveDate,
) -> Result<Vec<Weekly>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        taxon_id: Uuid,
        monday: NaiveDate,
        log: f64,
    }
    let sql = format!(
        "SELECT w.animal_id, a.taxon_id, w.weighed_on - (extract(isodow FROM w.weighed_on)::int - 1) AS monday,
                avg(ln(w.mass_mg / 1000.0::double precision)) AS log
           FROM weights w
           JOIN animals a ON a.id = w.animal_id
           {described}
           LEFT JOIN births b ON b.animal_id = a.id AND {known_b}
          WHERE w.site_id = $3 AND a.taxon_id = ANY ($1) AND w.weighed_on BETWEEN $4 AND $5 AND {known_w}
            AND w.mass_mg IS NOT NULL AND NOT w.doubtful AND w.method <> 'estimate'
            AND (b.born_last IS NULL OR w.weighed_on >= b.born_last + coalesce(t.breeds_from_days, 365))
          GROUP BY 1, 2, 3 ORDER BY 1, 3",
        described = described("a.taxon_id", 2),
        known_b = known("b", 2),
        known_w = known("w", 2),
    );
    let values = [taxa.to_vec().into(), snapshot.known_at().into(), site.into(), first.into(), last.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows
        .into_iter()
        .map(|row| Weekly { animal: row.animal_id, taxon: row.taxon_id, monday: row.monday, log: row.log })
        .collect())
}
