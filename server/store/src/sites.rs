//! Sites and enclosures.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{enclosure, site};
use crate::error::Error;
use crate::facts::{covers, known};
use crate::model::site::{Enclosure, EnclosureKind, NewEnclosure, NewSite, Site};
use sea_orm::{EntityTrait, FromQueryResult};
use uuid::Uuid;

fn to_model(row: site::Model) -> Result<Site, Error> {
    Ok(Site {
        zone: row.time_zone.parse().map_err(|e| Error::corrupt("sites", "time_zone", &e))?,
        id: row.id,
        code: row.code,
        name: row.name,
        licence: row.licence,
        latitude: row.latitude,
        longitude: row.longitude,
        country: row.country,
    })
}

/// All sites.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all(snapshot: &Snapshot) -> Result<Vec<Site>, Error> {
    site::Entity::find().all(snapshot.txn()).await?.into_iter().map(to_model).collect()
}

/// Adds a site.
///
/// # Errors
/// [`Error::Broken`] where the code is taken.
pub async fn insert(tx: &mut Tx, new: &NewSite) -> Result<Site, Error> {
    let row = site::Model {
        id: tx.new_id(),
        code: new.code.clone(),
        name: new.name.clone(),
        time_zone: new.zone.name().to_owned(),
        licence: new.licence.clone(),
        latitude: new.latitude,
        longitude: new.longitude,
        country: new.country.clone(),
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.of_new_site(row.id);
    tx.insert(std::slice::from_ref(&row)).await?;
    to_model(row)
}

#[derive(FromQueryResult)]
struct EnclosureRow {
    id: Uuid,
    name: String,
    kind: String,
    capacity: i32,
    occupants: i64,
}

/// The enclosures of a site by name, with how many animals live in each now.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn enclosures(snapshot: &Snapshot, permit: &Permit) -> Result<Vec<Enclosure>, Error> {
    let sql = format!(
        "SELECT e.id, e.name, e.kind, e.capacity,
                (SELECT count(*) FROM placements p
                  WHERE p.site_id = e.site_id AND p.enclosure_id = e.id AND {} AND p.ended_at IS NULL) AS occupants
           FROM enclosures e WHERE e.site_id = $1 ORDER BY lower(e.name)",
        known("p", 2)
    );
    let rows =
        snapshot.rows::<EnclosureRow>(&sql, [permit.site().id.into(), snapshot.known_at().into()]).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Enclosure {
                id: row.id,
                site: permit.site().code.clone(),
                name: row.name,
                kind: kind(&row.kind)?,
                capacity: row.capacity,
                occupants: i32::try_from(row.occupants).unwrap_or(i32::MAX),
            })
        })
        .collect()
}

/// The enclosure of this name, in any case; none where the site has none.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn enclosure(snapshot: &Snapshot, permit: &Permit, name: &str) -> Result<Option<Enclosure>, Error> {
    let wanted = name.trim().to_lowercase();
    Ok(enclosures(snapshot, permit).await?.into_iter().find(|e| e.name.to_lowercase() == wanted))
}

/// Adds an enclosure.
///
/// # Errors
/// [`Error::Broken`] where the name is taken.
pub async fn insert_enclosure(tx: &mut Tx, permit: &Permit, new: &NewEnclosure) -> Result<Enclosure, Error> {
    let row = enclosure::Model {
        id: tx.new_id(),
        site_id: permit.site().id,
        name: new.name.clone(),
        kind: match new.kind {
            EnclosureKind::Indoor => "indoor",
            EnclosureKind::Outdoor => "outdoor",
            EnclosureKind::Mixed => "mixed",
        }
        .to_owned(),
        capacity: new.capacity,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(std::slice::from_ref(&row)).await?;
    Ok(Enclosure {
        id: row.id,
        site: permit.site().code.clone(),
        name: row.name,
        kind: new.kind,
        capacity: row.capacity,
        occupants: 0,
    })
}

fn kind(text: &str) -> Result<EnclosureKind, Error> {
    match text {
        "indoor" => Ok(EnclosureKind::Indoor),
        "outdoor" => Ok(EnclosureKind::Outdoor),
        "mixed" => Ok(EnclosureKind::Mixed),
        other => Err(Error::corrupt("enclosures", "kind", other)),
    }
}

/// Animals that live in an enclosure at an instant.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn occupants(
    snapshot: &Snapshot,
    permit: &Permit,
    enclosure: Uuid,
    at: chrono::DateTime<chrono::Utc>,
) -> Result<Vec<Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Occupant {
        animal_id: Uuid,
    }
    let sql = format!(
        "SELECT p.animal_id FROM placements p
          WHERE p.site_id = $1 AND p.enclosure_id = $2 AND {} AND {}",
        known("p", 3),
        covers("p", 4)
    );
    let values = [permit.site().id.into(), enclosure.into(), snapshot.known_at().into(), at.into()];
    Ok(snapshot.rows::<Occupant>(&sql, values).await?.into_iter().map(|o| o.animal_id).collect())
}
