//! Crate readings: several animals of a litter or a group on one scale, never divided among them.

use crate::access::permit::Permit;
use crate::animals::Lens;
use crate::doors::{Snapshot, Tx};
use crate::entity::crate_reading;
use crate::error::Error;
use crate::facts::{fact, known};
use crate::model::crate_reading::{CrateReading, NewCrateReading, Of};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Mass;
use sea_orm::FromQueryResult;
use uuid::Uuid;

/// Keeps a reading.
///
/// # Errors
/// [`Error::Broken`] where one of the same litter or group and instant is on record.
pub async fn insert(
    tx: &mut Tx,
    permit: &Permit,
    of: Of,
    at: DateTime<Utc>,
    on: NaiveDate,
    new: &NewCrateReading,
) -> Result<CrateReading, Error> {
    let (litter_id, group_id) = match of {
        Of::Litter(id) => (Some(id), None),
        Of::Group(id) => (None, Some(id)),
    };
    let row = fact!(
        tx,
        crate_reading::Model {
            id: tx.new_id(),
            site_id: permit.site().id,
            litter_id: litter_id,
            group_id: group_id,
            weighed_at: at,
            weighed_on: on,
            day_only: new.is_day_only(),
            mass_mg: new.mass.mg(),
            animals: new.animals,
            scale: new.scale.clone(),
            note: new.note.clone(),
        }
    );
    tx.insert(std::slice::from_ref(&row)).await?;
    Ok(CrateReading {
        id: row.id,
        weighed_at: row.weighed_at,
        day_only: row.day_only,
        mass: new.mass,
        animals: row.animals,
        scale: row.scale,
        note: row.note,
        recorded_at: row.recorded_at,
    })
}

/// Readings of a litter or a group until the instant of a lens, newest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn of(
    snapshot: &Snapshot,
    permit: &Permit,
    of: Of,
    lens: Lens,
) -> Result<Vec<CrateReading>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        weighed_at: DateTime<Utc>,
        day_only: bool,
        mass_mg: i64,
        animals: i32,
        scale: String,
        note: String,
        recorded_at: DateTime<Utc>,
    }
    let (column, id) = match of {
        Of::Litter(id) => ("litter_id", id),
        Of::Group(id) => ("group_id", id),
    };
    let sql = format!(
        "SELECT r.id, r.weighed_at, r.day_only, r.mass_mg, r.animals, r.scale, r.note, r.recorded_at
           FROM crate_readings r
          WHERE r.{column} = $1 AND {} AND r.weighed_at <= $3 AND r.site_id = $4
          ORDER BY r.weighed_at DESC",
        known("r", 2)
    );
    let values = [id.into(), snapshot.known_at().into(), lens.at.into(), permit.site().id.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let readings = rows.into_iter().map(|row| CrateReading {
        id: row.id,
        weighed_at: row.weighed_at,
        day_only: row.day_only,
        mass: Mass::from_mg(row.mass_mg),
        animals: row.animals,
        scale: row.scale,
        note: row.note,
        recorded_at: row.recorded_at,
    });
    Ok(readings.collect())
}
