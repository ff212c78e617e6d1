//! Papers of animals, and the comings and goings that they go with.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::paper;
use crate::error::Error;
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::animal::Label;
use crate::model::paper::{Content, Crossing, Kind, Occasion, Paper};
use crate::model::taxon::Appendix;
use crate::taxa;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::FromQueryResult;
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// Adds papers to an occasion.
///
/// # Errors
/// [`Error::Broken`] where one of them is on record.
pub async fn insert(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    (occasion, transfer): (Occasion, Option<Uuid>),
    papers: &[Content],
) -> Result<Vec<Uuid>, Error> {
    let rows: Vec<paper::Model> = papers
        .iter()
        .map(|content| {
            fact!(
                tx,
                paper::Model {
                    id: tx.new_id(),
                    animal_id: animal,
                    site_id: permit.site().id,
                    occasion: occasion.as_str().to_owned(),
                    transfer_id: transfer,
                    kind: content.kind.as_str().to_owned(),
                    number: content.number.clone(),
                    issued_by_country: content.country.clone(),
                    issued_by: content.authority.clone(),
                    issued_on: content.issued_on,
                    valid_until: content.valid_until,
                    cites_appendix: content.appendix.as_str().to_owned(),
                    source_codes: content.source_codes.clone(),
                    purpose_code: content.purpose_code.clone(),
                    note: content.note.clone(),
                }
            )
        })
        .collect();
    tx.insert(&rows).await?;
    Ok(rows.into_iter().map(|row| row.id).collect())
}

/// What a paper says, as columns.
#[must_use]
pub fn columns(content: &Content) -> Map<String, Value> {
    let columns = json!({
        "kind": content.kind.as_str(),
        "number": content.number,
        "issued_by_country": content.country,
        "issued_by": content.authority,
        "issued_on": content.issued_on,
        "valid_until": content.valid_until,
        "cites_appendix": content.appendix.as_str(),
        "source_codes": content.source_codes,
        "purpose_code": content.purpose_code,
        "note": content.note,
    });
    columns.as_object().cloned().unwrap_or_default()
}

/// The papers of these animals that the caller may see, oldest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn of(snapshot: &Snapshot, animals: &[Uuid]) -> Result<Vec<Paper>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        site: String,
        animal_id: Uuid,
        occasion: String,
        transfer_id: Option<Uuid>,
        kind: String,
        number: String,
        issued_by_country: String,
        issued_by: String,
        issued_on: Option<NaiveDate>,
        valid_until: Option<NaiveDate>,
        cites_appendix: String,
        source_codes: String,
        purpose_code: String,
        note: String,
        recorded_at: DateTime<Utc>,
    }
    let sql = format!(
        "SELECT p.id, s.code AS site, p.animal_id, p.occasion, p.transfer_id, p.kind, p.number,
                p.issued_by_country, p.issued_by, p.issued_on, p.valid_until, p.cites_appendix, p.source_codes,
                p.purpose_code, p.note, p.recorded_at
           FROM papers p JOIN sites s ON s.id = p.site_id
          WHERE p.animal_id = ANY ($1) AND {} ORDER BY p.recorded_at, p.id",
        known("p", 2)
    );
    let rows = snapshot.rows::<Row>(&sql, [animals.to_vec().into(), snapshot.known_at().into()]).await?;
    rows.into_iter()
        .map(|row| {
            let corrupt = |column, word: &str| Error::corrupt("papers", column, word);
            let kind = Kind::ALL.into_iter().find(|kind| kind.as_str() == row.kind);
            Ok(Paper {
                id: row.id,
                site: row.site,
                animal: row.animal_id,
                occasion: occasion(&row.occasion)?,
                transfer: row.transfer_id,
                content: Content {
                    kind: kind.ok_or_else(|| corrupt("kind", &row.kind))?,
                    number: row.number,
                    country: row.issued_by_country,
                    authority: row.issued_by,
                    issued_on: row.issued_on,
                    valid_until: row.valid_until,
                    appendix: Appendix::of(&row.cites_appendix)
                        .ok_or_else(|| corrupt("cites_appendix", &row.cites_appendix))?,
                    source_codes: row.source_codes,
                    purpose_code: row.purpose_code,
                    note: row.note,
                },
                recorded_at: row.recorded_at,
            })
        })
        .collect()
}

fn occasion(word: &str) -> Result<Occasion, Error> {
    let found = Occasion::ALL.into_iter().find(|occasion| occasion.as_str() == word);
    found.ok_or_else(|| Error::corrupt("papers", "occasion", word))
}

/// Which comings and goings are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Of this animal alone.
    pub animal: Option<Uuid>,
    /// On these days, both included.
    pub span: Option<(NaiveDate, NaiveDate)>,
    /// Of listed species alone.
    pub listed: bool,
}

/// The comings and goings of animals at a site, those that are agreed included, but for what was there before
/// its records began and what escaped, latest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn crossings(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: &Wanted,
) -> Result<Vec<Crossing>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        number: Option<String>,
        house_name: Option<String>,
        scientific_name: String,
        cites_appendix: String,
        occasion: String,
        transfer_id: Option<Uuid>,
        came: bool,
        happened_on: NaiveDate,
        from_country: String,
        to_country: String,
    }
    let mut filter = Filter::after([permit.site().id.into(), snapshot.known_at().into()]);
    filter.and("x.animal_id = ?", wanted.animal.map(|animal| [animal.into()]));
    filter.and("x.happened_on BETWEEN ? AND ?", wanted.span.map(|(first, last)| [first.into(), last.into()]));
    filter.and("t.cites_appendix IN ('I', 'II', 'III')", wanted.listed.then_some([]));
    let (filter, last, values) = filter.then(i64::MAX);
    let sql = format!(
        "SELECT x.animal_id, c.number, n.code AS house_name, t.scientific_name, t.cites_appendix, x.occasion,
                x.transfer_id, x.came, x.happened_on, x.from_country, x.to_country
           FROM (
             SELECT h.animal_id, 'arrival' AS occasion, NULL::uuid AS transfer_id, true AS came,
                    h.began_on AS happened_on, h.began_country AS from_country, s.country AS to_country
               FROM holdings h JOIN sites s ON s.id = h.site_id
              WHERE h.site_id = $1 AND {known_h} AND h.began_how = 'arrival' AND h.began_source <> 'on_site_before'
             UNION ALL
             SELECT h.animal_id, 'departure', NULL, false, h.ended_on, s.country, h.ended_country
               FROM holdings h JOIN sites s ON s.id = h.site_id
              WHERE h.site_id = $1 AND {known_h} AND h.ended_how = 'departure'
             UNION ALL
             SELECT h.animal_id, 'transfer', m.id, true, h.began_on, f.country, d.country
               FROM holdings h JOIN transfers m ON m.id = h.transfer_in
               JOIN sites f ON f.id = m.from_site_id JOIN sites d ON d.id = m.to_site_id
              WHERE h.site_id = $1 AND {known_h}
             UNION ALL
             SELECT h.animal_id, 'transfer', m.id, false, h.ended_on, f.country, d.country
               FROM holdings h JOIN transfers m ON m.id = h.transfer_out
               JOIN sites f ON f.id = m.from_site_id JOIN sites d ON d.id = m.to_site_id
              WHERE h.site_id = $1 AND {known_h} AND h.ended_how = 'transfer'
             UNION ALL
             SELECT m.animal_id, 'transfer', m.id, m.to_site_id = $1,
                    coalesce(m.planned_on, (m.recorded_at AT TIME ZONE f.time_zone)::date), f.country, d.country
               FROM transfers m JOIN sites f ON f.id = m.from_site_id JOIN sites d ON d.id = m.to_site_id
              WHERE $1 IN (m.from_site_id, m.to_site_id) AND m.state IN ('agreed', 'dispatched')
           ) x
           JOIN animals a ON a.id = x.animal_id
           {described}
           LEFT JOIN accessions c ON c.animal_id = x.animal_id AND c.site_id = $1 AND {known_c}
           LEFT JOIN LATERAL (SELECT m.code FROM marks m WHERE m.animal_id = x.animal_id
                AND m.kind = 'house_name' AND {known_m}
              ORDER BY m.ended_at DESC NULLS FIRST, m.began_at DESC LIMIT 1) n ON true
          WHERE true{filter}
          ORDER BY x.happened_on DESC, c.number, x.occasion LIMIT ${last}",
        known_h = known("h", 2),
        known_c = known("c", 2),
        known_m = known("m", 2),
        described = taxa::described("a.taxon_id", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Crossing {
                animal: Label {
                    id: row.animal_id,
                    accession: row.number.unwrap_or_default(),
                    house_name: row.house_name.unwrap_or_default(),
                },
                taxon: row.scientific_name,
                appendix: Appendix::of(&row.cites_appendix)
                    .ok_or_else(|| Error::corrupt("taxon_names", "cites_appendix", &row.cites_appendix))?,
                occasion: occasion(&row.occasion)?,
                transfer: row.transfer_id,
                came: row.came,
                on: row.happened_on,
                from: row.from_country,
                to: row.to_country,
            })
        })
        .collect()
}
