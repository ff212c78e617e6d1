//! The books of sites, as a census takes them: one read of each table.

use crate::animals::sex;
use crate::doors::Snapshot;
use crate::error::Error;
use crate::facts::known;
use crate::model::animal::Label;
use crate::model::stock_return::Books;
use crate::weights::label;
use chrono::{Days, NaiveDate};
use holt_audit::census::{Began, Born, Change, Ended, Litter, Stay, ZONES_APART_DAYS};
use holt_audit::terms::{Counts, Sex};
use sea_orm::FromQueryResult;
use std::collections::HashMap;
use uuid::Uuid;

/// The stays and litters of these sites that bear upon the days from `first` to `last`; stays in the order in
/// which they followed one another. Sites write days that differ for one instant: a stay that ended shortly
/// before the first day, or began shortly after the last, may be the one that a transfer joins to a stay within.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn books(
    snapshot: &Snapshot,
    sites: &[Uuid],
    first: NaiveDate,
    last: NaiveDate,
) -> Result<Books, Error> {
    let apart = Days::new(ZONES_APART_DAYS);
    let since = first.checked_sub_days(apart).unwrap_or(NaiveDate::MIN);
    let until = last.checked_add_days(apart).unwrap_or(NaiveDate::MAX);
    let mut sexes = sexes(snapshot, sites, since, until).await?;
    let mut books = Books::default();
    stays(snapshot, sites, (since, until), &mut sexes, &mut books).await?;
    litters(snapshot, sites, last, &mut books).await?;
    Ok(books)
}

/// Holdings `h` that had begun on `$4` and not ended before `$3`, as SQL.
fn bear_upon_it() -> String {
    format!(
        "h.site_id = ANY ($1) AND {} AND h.began_on <= $4 AND (h.ended_on IS NULL OR h.ended_on >= $3)",
        known("h", 2)
    )
}

async fn stays(
    snapshot: &Snapshot,
    sites: &[Uuid],
    (since, until): (NaiveDate, NaiveDate),
    sexes: &mut HashMap<Uuid, Vec<(NaiveDate, Sex)>>,
    books: &mut Books,
) -> Result<(), Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        taxon_id: Uuid,
        site_id: Uuid,
        began_on: NaiveDate,
        began_how: String,
        from_site_id: Option<Uuid>,
        ended_on: Option<NaiveDate>,
        ended_how: Option<String>,
        to_site_id: Option<Uuid>,
        born_first: Option<NaiveDate>,
        born_last: Option<NaiveDate>,
    }
    let sql = format!(
        "SELECT h.id, h.animal_id, a.taxon_id, h.site_id, h.began_on, h.began_how, mi.from_site_id,
                h.ended_on, h.ended_how, mo.to_site_id, b.born_first, b.born_last
           FROM holdings h
           JOIN animals a ON a.id = h.animal_id
           LEFT JOIN births b ON b.animal_id = h.animal_id AND {known_b}
           LEFT JOIN transfers mi ON mi.id = h.transfer_in
           LEFT JOIN transfers mo ON mo.id = h.transfer_out
          WHERE {bear_upon_it}
          ORDER BY h.animal_id, h.began_at",
        known_b = known("b", 2),
        bear_upon_it = bear_upon_it(),
    );
    let values = [sites.to_vec().into(), snapshot.known_at().into(), since.into(), until.into()];
    for row in snapshot.rows::<Row>(&sql, values).await? {
        let began = match (row.began_how.as_str(), row.from_site_id) {
            ("birth", _) => Began::Birth,
            ("arrival", _) => Began::Arrival,
            ("told_apart", _) => Began::ToldApart,
            ("transfer", Some(from)) => Began::TransferIn { from },
            (other, _) => return Err(Error::corrupt("holdings", "began_how", other)),
        };
        let ended = match (row.ended_how.as_deref(), row.to_site_id) {
            (None, _) => None,
            (Some("death"), _) => Some(Ended::Death),
            (Some("departure"), _) => Some(Ended::Departure),
            (Some("escape"), _) => Some(Ended::Escape),
            (Some("transfer"), Some(to)) => Some(Ended::TransferOut { to }),
            (Some(other), _) => return Err(Error::corrupt("holdings", "ended_how", other)),
        };
        // One animal's stays are next to one another, and share what is known of its sex.
        let sexes = match books.stays.last().filter(|before| before.animal == row.animal_id) {
            Some(before) => before.sexes.clone(),
            None => sexes.remove(&row.animal_id).unwrap_or_default(),
        };
        books.of_stays.push(row.id);
        books.stays.push(Stay {
            animal: row.animal_id,
            species: row.taxon_id,
            site: row.site_id,
            from: row.began_on,
            began,
            end: row.ended_on.zip(ended),
            born: row.born_first.zip(row.born_last).map(|(earliest, latest)| Born { earliest, latest }),
            sexes,
        });
    }
    Ok(())
}

/// What the sex of each animal was held to be, from each day on.
async fn sexes(
    snapshot: &Snapshot,
    sites: &[Uuid],
    since: NaiveDate,
    until: NaiveDate,
) -> Result<HashMap<Uuid, Vec<(NaiveDate, Sex)>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        determined_on: NaiveDate,
        sex: String,
    }
    let sql = format!(
        "SELECT x.animal_id, x.determined_on, x.sex FROM sexings x
          WHERE {known_x} AND x.determined_on <= $4
            AND x.animal_id IN (SELECT h.animal_id FROM holdings h WHERE {bear_upon_it})",
        known_x = known("x", 2),
        bear_upon_it = bear_upon_it(),
    );
    let values = [sites.to_vec().into(), snapshot.known_at().into(), since.into(), until.into()];
    let mut sexes: HashMap<Uuid, Vec<(NaiveDate, Sex)>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, values).await? {
        sexes.entry(row.animal_id).or_default().push((row.determined_on, sex(&row.sex)?));
    }
    Ok(sexes)
}

async fn litters(
    snapshot: &Snapshot,
    sites: &[Uuid],
    last: NaiveDate,
    books: &mut Books,
) -> Result<(), Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        change_id: Uuid,
        taxon_id: Uuid,
        site_id: Uuid,
        born_on: NaiveDate,
        kind: String,
        happened_on: NaiveDate,
        males: i64,
        females: i64,
        unknown: i64,
    }
    let sql = format!(
        "SELECT l.id, c.id AS change_id, l.taxon_id, l.site_id, l.born_on, c.kind, c.happened_on, c.males, c.females, c.unknown
           FROM litters l JOIN litter_changes c ON c.litter_id = l.id AND {known_c}
          WHERE l.site_id = ANY ($1) AND c.happened_on <= $3
          ORDER BY l.id, c.happened_on, c.id",
        known_c = known("c", 2),
    );
    let values = [sites.to_vec().into(), snapshot.known_at().into(), last.into()];
    for row in snapshot.rows::<Row>(&sql, values).await? {
        let young = Counts { males: row.males, females: row.females, unknown: row.unknown };
        let change = match row.kind.as_str() {
            "born" => Change::Born(young),
            "died" => Change::Died(young),
            "sexed" => Change::Sexed { males: row.males, females: row.females },
            "told_apart" => Change::ToldApart(young),
            other => return Err(Error::corrupt("litter_changes", "kind", other)),
        };
        if books.litters.last().is_none_or(|litter| litter.litter != row.id) {
            books.litters.push(Litter {
                litter: row.id,
                species: row.taxon_id,
                site: row.site_id,
                born: Some(Born::on(row.born_on)),
                changes: Vec::new(),
            });
            books.of_litters.push(Vec::new());
        }
        if let Some((litter, records)) = books.litters.last_mut().zip(books.of_litters.last_mut()) {
            litter.changes.push((row.happened_on, change));
            records.push(row.change_id);
        }
    }
    Ok(())
}

/// What an entry of a return rests on beside the stay.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Beside {
    pub animal_id: Uuid,
    pub kind: String,
    pub id: Uuid,
}

/// The deaths, the parents and the sexes found of these animals, as known.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn beside(snapshot: &Snapshot, animals: &[Uuid]) -> Result<Vec<Beside>, Error> {
    let each = ["deaths", "parents", "sexings"].map(|table| {
        let known = known("f", 2);
        format!("SELECT f.animal_id, '{table}' AS kind, f.id FROM {table} f WHERE f.animal_id = ANY ($1) AND {known}")
    });
    let sql = format!("{} ORDER BY animal_id, kind, id", each.join(" UNION ALL "));
    snapshot.rows(&sql, [animals.to_vec().into(), snapshot.known_at().into()]).await
}

/// Names of animals, each in the terms of a site, in the order given.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn names(snapshot: &Snapshot, animals: &[(Uuid, Uuid)]) -> Result<Vec<Label>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        accession: Option<String>,
        house_name: Option<String>,
    }
    let sql = format!(
        "SELECT q.animal_id, {}
           FROM unnest($1::uuid[], $3::uuid[]) WITH ORDINALITY AS q (animal_id, site_id, n) ORDER BY q.n",
        label("q", 2)
    );
    let (ids, sites): (Vec<Uuid>, Vec<Uuid>) = animals.iter().copied().unzip();
    let rows = snapshot.rows::<Row>(&sql, [ids.into(), snapshot.known_at().into(), sites.into()]).await?;
    let names = rows.into_iter().map(|row| Label {
        id: row.animal_id,
        accession: row.accession.unwrap_or_default(),
        house_name: row.house_name.unwrap_or_default(),
    });
    Ok(names.collect())
}
