//! Accession numbers.

use crate::access::permit::Permit;
use crate::doors::Tx;
use crate::entity::accession;
use crate::error::Error;
use crate::facts::fact;
use chrono::{Datelike, NaiveDate};
use sea_orm::FromQueryResult;
use std::collections::BTreeMap;
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
    let (year, serial) = (year_of(on), raise(tx, permit, year_of(on), Serials::Next(1)).await?);
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

/// A number has two digits for its year: two years a century apart count as one.
fn year_of(on: NaiveDate) -> i32 {
    on.year().rem_euclid(100)
}

/// Year and serial of a number as it is kept: `QUI-26-0042`.
fn parts(number: &str) -> Option<(i32, i32)> {
    let mut parts = number.rsplit('-');
    let serial = parts.next()?.parse().ok()?;
    Some((parts.next()?.parse().ok()?, serial))
}

/// Numbers go on behind those that animals are taken in with, unless these are so high that a year might run out of
/// them: then they stay before and between them.
const FOLLOWED: i32 = 50_000;

/// Which serials of a year are taken.
#[derive(Clone, Copy)]
enum Serials {
    /// So many more.
    Next(i32),
    /// All up to this one.
    UpTo(i32),
}

/// Takes serials of a year; answers the last that is taken. The counter's row lock is held until the write ends:
/// numbers are given out in order and none is lost to a write that fails.
async fn raise(tx: &Tx, permit: &Permit, year: i32, serials: Serials) -> Result<i32, Error> {
    #[derive(FromQueryResult)]
    struct Serial {
        last: i32,
    }
    let (from, change, number) = match serials {
        Serials::Next(more) => {
            // Where there is a counter, the first is not used: nobody need look for it.
            let first =
                "CASE WHEN EXISTS (SELECT FROM accession_counters WHERE site_id = $1 AND year = $2) THEN $3
                              ELSE holt_next_serial($4, $2, 0, $3) END";
            (first, "holt_next_serial($4, $2, c.last, $3)", more)
        }
        Serials::UpTo(last) => ("$3", "greatest(c.last, $3)", last),
    };
    let sql = format!(
        "INSERT INTO accession_counters AS c (site_id, year, last) VALUES ($1, $2, {from})
         ON CONFLICT (site_id, year) DO UPDATE SET last = {change} RETURNING last, $4::text AS code"
    );
    let site = permit.site();
    let values = [site.id.into(), year.into(), number.into(), site.code.clone().into()];
    let rows = tx.rows::<Serial>(&sql, values).await?;
    rows.first()
        .map(|row| row.last)
        .ok_or_else(|| Error::Fault("the accession counter answered nothing".to_owned()))
}

/// Numbers for many animals, each with the one that it has already, or none, and the day on which it was taken
/// in: those that have none get the next of their year that nobody has. Writes nothing but the counter.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn reserve(tx: &Tx, permit: &Permit, wanted: &[(String, NaiveDate)]) -> Result<Vec<String>, Error> {
    let mut given: BTreeMap<i32, i32> = BTreeMap::new();
    let given_here = wanted.iter().filter_map(|(number, _)| parts(number));
    for (year, serial) in given_here.filter(|(_, serial)| *serial <= FOLLOWED) {
        let most = given.entry(year).or_default();
        *most = serial.max(*most);
    }
    for (year, last) in given {
        raise(tx, permit, year, Serials::UpTo(last)).await?;
    }
    let mut fresh: BTreeMap<i32, i32> = BTreeMap::new();
    for (_, on) in wanted.iter().filter(|(number, _)| number.is_empty()) {
        *fresh.entry(year_of(*on)).or_default() += 1;
    }
    let mut next: BTreeMap<i32, i32> = BTreeMap::new();
    for (year, count) in fresh {
        next.insert(year, raise(tx, permit, year, Serials::Next(count)).await? - count + 1);
    }
    let number = |(number, on): &(String, NaiveDate)| {
        if !number.is_empty() {
            return number.clone();
        }
        let year = year_of(*on);
        let serial = next.entry(year).or_default();
        let number = format!("{}-{year:02}-{serial:04}", permit.site().code);
        *serial += 1;
        number
    };
    Ok(wanted.iter().map(number).collect())
}
