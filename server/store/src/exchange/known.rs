//! What is on record already of animals that are to be taken in.

use crate::access::permit::Permit;
use crate::doors::Tx;
use crate::error::Error;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::FromQueryResult;
use uuid::Uuid;

/// An animal that goes by one of the keys asked for.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Known {
    /// The identifier, the number in other books in small letters, or the accession.
    pub key: String,
    pub animal_id: Uuid,
    pub accession: Option<String>,
    pub taxon_id: Uuid,
    pub born_first: Option<NaiveDate>,
    pub born_last: Option<NaiveDate>,
}

/// The animals of these identifiers, numbers in the other books of the site, and accessions, as far as the
/// caller may see them.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn known(
    tx: &Tx,
    permit: &Permit,
    ids: &[Uuid],
    numbers: &[String],
    accessions: &[String],
) -> Result<Vec<Known>, Error> {
    let sql = "SELECT k.key, a.id AS animal_id, a.taxon_id, b.born_first, b.born_last,
                      (SELECT n.number FROM accessions n WHERE n.animal_id = a.id AND n.site_id = $4
                          AND n.superseded_at IS NULL) AS accession
                 FROM (SELECT i.id::text AS key, i.id FROM animals i WHERE i.id = ANY ($1)
                       UNION SELECT m.folded, m.animal_id FROM public.marks m
                        WHERE m.folded = ANY ($2) AND m.kind = 'former_number' AND m.site_id = $4 AND m.superseded_at IS NULL
                       UNION SELECT c.number, c.animal_id FROM public.accessions c
                        WHERE c.number = ANY ($3) AND c.superseded_at IS NULL) k
                 JOIN animals a ON a.id = holt_animal(k.id)
                 LEFT JOIN births b ON b.animal_id = a.id AND b.superseded_at IS NULL";
    let values =
        [ids.to_vec().into(), numbers.to_vec().into(), accessions.to_vec().into(), permit.site().id.into()];
    tx.rows(sql, values).await
}

/// A transponder on an animal over a stretch of time.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Bearer {
    /// In small letters.
    pub folded: String,
    pub animal_id: Uuid,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
}

/// Who bore these transponders and when, as far as the caller may see it.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn bearers(tx: &Tx, codes: &[String]) -> Result<Vec<Bearer>, Error> {
    let sql = "SELECT m.folded, m.animal_id, m.began_at, m.ended_at FROM marks m
                WHERE m.folded = ANY ($1) AND m.kind = 'transponder' AND m.superseded_at IS NULL
                ORDER BY m.folded, m.began_at";
    tx.rows(sql, [codes.to_vec().into()]).await
}
