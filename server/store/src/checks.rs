//! Checks.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::check;
use crate::error::Error;
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::check::{Check, Duty, Scope};
use chrono::NaiveDate;
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

/// Whom a check is for, resolved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum For {
    Animal(Uuid),
    Taxon(Uuid),
    Enclosure(Uuid),
    Group(Uuid),
    WholeSite,
}

/// A check on record, with whom it is for both resolved and in words.
#[derive(Clone, Debug)]
pub struct Kept {
    pub check: Check,
    pub is_for: For,
}

const fn duty_text(duty: Duty) -> &'static str {
    match duty {
        Duty::Weigh => "weigh",
        Duty::Assess => "assess",
        Duty::EndLoan => "end_loan",
        Duty::WeighAgain => "weigh_again",
    }
}

fn duty(text: &str) -> Result<Duty, Error> {
    match text {
        "weigh" => Ok(Duty::Weigh),
        "assess" => Ok(Duty::Assess),
        other => Err(Error::corrupt("checks", "duty", other)),
    }
}

/// The checks of a site, ended ones included, by first day; or the one of an identifier.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn of(snapshot: &Snapshot, permit: &Permit, one: Option<Uuid>) -> Result<Vec<Kept>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        check_id: Uuid,
        duty: String,
        animal_id: Option<Uuid>,
        accession: Option<String>,
        taxon_id: Option<Uuid>,
        scientific_name: Option<String>,
        enclosure_id: Option<Uuid>,
        enclosure: Option<String>,
        group_id: Option<Uuid>,
        group_name: Option<String>,
        recurrence: String,
        starts_on: NaiveDate,
        ends_on: Option<NaiveDate>,
        grace_days: i32,
        by_whom: String,
        note: String,
    }
    let mut filter = Filter::after([permit.site().id.into()]);
    filter.and("k.check_id = ?", one.map(|id| [id.into()]));
    let (filter, known_at, values) = filter.then(snapshot.known_at());
    let sql = format!(
        "SELECT k.check_id, k.duty, k.animal_id, c.number AS accession, k.taxon_id, t.scientific_name,
                k.enclosure_id, e.name AS enclosure, k.group_id, g.name AS group_name, k.recurrence, k.starts_on,
                k.ends_on, k.grace_days, k.by_whom, k.note
           FROM checks k
           LEFT JOIN accessions c ON c.animal_id = k.animal_id AND c.site_id = k.site_id AND {known_c}
           LEFT JOIN taxon_names t ON t.taxon_id = k.taxon_id AND t.accepted AND {known_t}
           LEFT JOIN enclosures e ON e.id = k.enclosure_id
           LEFT JOIN groups g ON g.id = k.group_id
          WHERE k.site_id = $1 AND {known_k}{filter} ORDER BY k.starts_on, k.check_id",
        known_c = known("c", known_at),
        known_t = known("t", known_at),
        known_k = known("k", known_at),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    snapshot.legible(
        "check",
        rows,
        |row| row.check_id,
        |row| {
            let name = Option::unwrap_or_default;
            let (is_for, scope) = match (row.animal_id, row.taxon_id, row.enclosure_id, row.group_id) {
                (Some(animal), ..) => (For::Animal(animal), Scope::Animal(name(row.accession))),
                (_, Some(taxon), ..) => (For::Taxon(taxon), Scope::Taxon(name(row.scientific_name))),
                (.., Some(enclosure), _) => {
                    (For::Enclosure(enclosure), Scope::Enclosure(name(row.enclosure)))
                }
                (.., Some(group)) => (For::Group(group), Scope::Group(name(row.group_name))),
                _ => (For::WholeSite, Scope::WholeSite),
            };
            let check = Check {
                id: row.check_id,
                site: permit.site().code.clone(),
                duty: duty(&row.duty)?,
                scope,
                recurrence: row.recurrence,
                starts_on: row.starts_on,
                ends_on: row.ends_on,
                grace_days: u16::try_from(row.grace_days)
                    .map_err(|error| Error::corrupt("checks", "grace_days", &error))?,
                by_whom: row.by_whom,
                note: row.note,
            };
            Ok(Kept { check, is_for })
        },
    )
}

/// Keeps a check.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(tx: &mut Tx, permit: &Permit, check: &Check, is_for: For) -> Result<(), Error> {
    let row = fact!(
        tx,
        check::Model {
            id: tx.new_id(),
            site_id: permit.site().id,
            check_id: check.id,
            duty: duty_text(check.duty).to_owned(),
            animal_id: if let For::Animal(id) = is_for { Some(id) } else { None },
            taxon_id: if let For::Taxon(id) = is_for { Some(id) } else { None },
            enclosure_id: if let For::Enclosure(id) = is_for { Some(id) } else { None },
            group_id: if let For::Group(id) = is_for { Some(id) } else { None },
            recurrence: check.recurrence.clone(),
            starts_on: check.starts_on,
            ends_on: check.ends_on,
            grace_days: i32::from(check.grace_days),
            by_whom: check.by_whom.clone(),
            note: check.note.clone(),
        }
    );
    tx.insert(&[row]).await
}

/// Gives a check its last day; answers whether the site has such a check.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn end(
    tx: &mut Tx,
    permit: &Permit,
    id: Uuid,
    ends_on: NaiveDate,
    why: &str,
) -> Result<bool, Error> {
    let found = check::Entity::find()
        .filter(check::Column::CheckId.eq(id))
        .filter(check::Column::SiteId.eq(permit.site().id))
        .filter(check::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    let Some(old) = found else { return Ok(false) };
    tx.supersede::<check::Entity>(old.id, why).await?;
    let row = fact!(
        tx,
        check::Model {
            id: tx.new_id(),
            site_id: old.site_id,
            check_id: old.check_id,
            duty: old.duty,
            animal_id: old.animal_id,
            taxon_id: old.taxon_id,
            enclosure_id: old.enclosure_id,
            group_id: old.group_id,
            recurrence: old.recurrence,
            starts_on: old.starts_on,
            ends_on: Some(ends_on),
            grace_days: old.grace_days,
            by_whom: old.by_whom,
            note: old.note,
        }
    );
    tx.insert(&[row]).await?;
    Ok(true)
}
