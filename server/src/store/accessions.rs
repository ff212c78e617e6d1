//! Accession numbers.

use crate::access::permit::Permit;
use crate::store::doors::Tx;
use crate::store::entity::accession;
use crate::store::error::Error;
use crate::store::facts::fact;
use chrono::{Datelike, NaiveDate};
use sea_orm::FromQueryResult;
use uuid::Uuid;

/// Takes an animal into the records of a site: gives it the next number of the year, or the number that
/// it had when it was there before.
///
/// # Errors
/// [`Error::Contention`] where the number was given out meanwhile.
pub async fn take_in(tx: &mut Tx, permit: &Permit, animal: Uuid, on: NaiveDate) -> Result<String, Error> {
    #[derive(FromQueryResult)]
    struct Number {
        number: String,
    }
    #[derive(FromQueryResult)]
    struct Serial {
        last: i32,
    }
    let site = permit.site();
    let before = tx
        .rows::<Number>(
            "SELECT number FROM accessions WHERE animal_id = $1 AND site_id = $2 AND superseded_at IS NULL",
            [animal.into(), site.id.into()],
        )
        .await?;
    if let Some(before) = before.into_iter().next() {
        return Ok(before.number);
    }
    // A number has two digits for its year: two years a century apart count as one.
    let year = on.year().rem_euclid(100);
    // The counter's row lock is held until the write ends: numbers are given out in order and none is
    // lost to a write that fails.
    let serial = tx
        .rows::<Serial>(
            "INSERT INTO accession_counters AS c (site_id, year, last) VALUES ($1, $2, 1)
             ON CONFLICT (site_id, year) DO UPDATE SET last = c.last + 1 RETURNING last",
            [site.id.into(), year.into()],
        )
        .await?
        .first()
        .map(|row| row.last)
        .ok_or_else(|| Error::Fault("the accession counter answered nothing".to_owned()))?;
    let number = format!("{}-{year:02}-{serial:04}", site.code);
    let row = fact!(
        tx,
        accession::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: site.id,
            number: number.clone(),
            taken_on: on,
        }
    );
    tx.insert(&[row]).await?;
    Ok(number)
}
