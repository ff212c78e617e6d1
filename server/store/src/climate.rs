//! Devices, what they read, and what must be kept.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{climate_rule, device, device_batch};
use crate::error::{Error, stored};
use crate::facts::{fact, known};
use crate::model::climate::{Content, Device, Measure, NewDevice, Rules};
use chrono::{DateTime, Utc};
use holt_audit::environment::Reading;
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use std::collections::HashMap;
use uuid::Uuid;

/// Adds a device.
///
/// # Errors
/// [`Error::Broken`] where the name is taken.
pub async fn insert_device(
    tx: &mut Tx,
    permit: &Permit,
    enclosure: Uuid,
    new: &NewDevice,
) -> Result<Uuid, Error> {
    let id = tx.new_id();
    let row = fact!(
        tx,
        device::Model {
            id: tx.new_id(),
            device_id: id,
            site_id: permit.site().id,
            enclosure_id: enclosure,
            name: new.name.clone(),
            measure: new.measure.as_str().to_owned(),
            may_be_silent_minutes: new.may_be_silent_minutes,
            note: new.note.clone(),
        }
    );
    tx.insert(&[row]).await?;
    Ok(id)
}

/// Takes a device away.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn retire(tx: &mut Tx, device: Uuid, why: &str) -> Result<(), Error> {
    let standing = device::Entity::find()
        .filter(device::Column::DeviceId.eq(device))
        .filter(device::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    let row = standing.ok_or(Error::Contention)?;
    tx.supersede::<device::Entity>(row.id, why).await
}

/// Devices of a site, by enclosure and name.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn devices(snapshot: &Snapshot, permit: &Permit) -> Result<Vec<Device>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        device_id: Uuid,
        enclosure_id: Uuid,
        enclosure: String,
        name: String,
        measure: String,
        may_be_silent_minutes: i32,
        note: String,
    }
    let sql = format!(
        "SELECT d.device_id, d.enclosure_id, e.name AS enclosure, d.name, d.measure, d.may_be_silent_minutes, d.note
           FROM devices d JOIN enclosures e ON e.id = d.enclosure_id
          WHERE d.site_id = $1 AND {} ORDER BY lower(e.name), lower(d.name)",
        known("d", 2)
    );
    let values = [permit.site().id.into(), snapshot.known_at().into()];
    snapshot
        .rows::<Row>(&sql, values)
        .await?
        .into_iter()
        .map(|row| {
            Ok(Device {
                id: row.device_id,
                site: permit.site().code.clone(),
                enclosure: row.enclosure_id,
                enclosure_name: row.enclosure,
                name: row.name,
                measure: stored("devices", "measure", row.measure)?,
                may_be_silent_minutes: row.may_be_silent_minutes,
                note: row.note,
            })
        })
        .collect()
}

/// Locks devices against anybody else who records what they read.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn lock(tx: &Tx, devices: &[Uuid]) -> Result<(), Error> {
    #[derive(FromQueryResult)]
    struct Row {
        #[expect(dead_code, reason = "that it is locked is all that is asked")]
        id: Uuid,
    }
    let sql = "SELECT id FROM devices WHERE device_id = ANY ($1) ORDER BY id FOR NO KEY UPDATE";
    tx.rows::<Row>(sql, [devices.to_vec().into()]).await?;
    Ok(())
}

/// Says what must be kept, in place of what was said before.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn set_rules(
    tx: &mut Tx,
    permit: &Permit,
    enclosure: Uuid,
    measure: Measure,
    content: &Content,
    why: &str,
) -> Result<(), Error> {
    let standing = climate_rule::Entity::find()
        .filter(climate_rule::Column::EnclosureId.eq(enclosure))
        .filter(climate_rule::Column::Measure.eq(measure.as_str()))
        .filter(climate_rule::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    if let Some(old) = standing {
        tx.supersede::<climate_rule::Entity>(old.id, why).await?;
    }
    let row = fact!(
        tx,
        climate_rule::Model {
            id: tx.new_id(),
            site_id: permit.site().id,
            enclosure_id: enclosure,
            measure: measure.as_str().to_owned(),
            content: serde_json::to_value(content)?,
        }
    );
    tx.insert(&[row]).await
}

/// What must be kept at a site: the rules of each enclosure and measure.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn rules(snapshot: &Snapshot, permit: &Permit) -> Result<Vec<(Uuid, Rules)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        enclosure_id: Uuid,
        enclosure: String,
        measure: String,
        content: serde_json::Value,
    }
    let sql = format!(
        "SELECT r.id, r.enclosure_id, e.name AS enclosure, r.measure, r.content
           FROM climate_rules r JOIN enclosures e ON e.id = r.enclosure_id
          WHERE r.site_id = $1 AND {} ORDER BY lower(e.name), r.measure",
        known("r", 2)
    );
    let values = [permit.site().id.into(), snapshot.known_at().into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    snapshot.legible(
        "climate rule",
        rows,
        |row| row.id,
        |row| {
            let content = stored("climate_rules", "content", row.content)?;
            let measure = stored("climate_rules", "measure", row.measure)?;
            Ok((row.enclosure_id, Rules { enclosure: row.enclosure, measure, content }))
        },
    )
}

/// Keeps what devices read: one row for each device, its readings in order of time.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert_readings(
    tx: &mut Tx,
    permit: &Permit,
    spoken: Vec<(Uuid, Vec<Reading>)>,
) -> Result<(), Error> {
    let rows: Vec<_> = spoken
        .into_iter()
        .filter_map(|(device, readings)| {
            let (first, last) = (readings.first()?.at, readings.last()?.at);
            Some(device_batch::Model {
                id: tx.new_id(),
                device_id: device,
                site_id: permit.site().id,
                first_at: first,
                last_at: last,
                read_at: readings.iter().map(|reading| reading.at).collect(),
                values: readings.iter().map(|reading| reading.value).collect(),
                recorded_at: tx.now(),
                recorded_by: tx.person(),
                request_id: tx.request_id(),
            })
        })
        .collect();
    tx.insert(&rows).await
}

/// What these devices read from an instant on and before another, in order of time. As was known at the
/// instant of the snapshot.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn readings(
    snapshot: &Snapshot,
    devices: &[Uuid],
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<HashMap<Uuid, Vec<Reading>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        device_id: Uuid,
        read_at: Vec<DateTime<Utc>>,
        values: Vec<f64>,
    }
    let rows = snapshot
        .rows::<Row>(
            "SELECT device_id, read_at, values FROM device_batches
              WHERE device_id = ANY ($1) AND last_at >= $2 AND first_at < $3 AND recorded_at <= $4",
            [devices.to_vec().into(), from.into(), until.into(), snapshot.known_at().into()],
        )
        .await?;
    let mut found: HashMap<Uuid, Vec<Reading>> = HashMap::new();
    for row in rows {
        let readings = row.read_at.into_iter().zip(row.values).map(|(at, value)| Reading { at, value });
        let within = readings.filter(|reading| from <= reading.at && reading.at < until);
        found.entry(row.device_id).or_default().extend(within);
    }
    for readings in found.values_mut() {
        readings.sort_by_key(|reading| reading.at);
    }
    Ok(found)
}

/// What each of these devices read last, as was known at the instant of the snapshot.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn latest(snapshot: &Snapshot, devices: &[Uuid]) -> Result<HashMap<Uuid, Reading>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        device_id: Uuid,
        at: DateTime<Utc>,
        value: f64,
    }
    let rows = snapshot
        .rows::<Row>(
            "SELECT DISTINCT ON (device_id) device_id, last_at AS at, values[cardinality(values)] AS value
               FROM device_batches WHERE device_id = ANY ($1) AND recorded_at <= $2
              ORDER BY device_id, last_at DESC",
            [devices.to_vec().into(), snapshot.known_at().into()],
        )
        .await?;
    Ok(rows.into_iter().map(|row| (row.device_id, Reading { at: row.at, value: row.value })).collect())
}
