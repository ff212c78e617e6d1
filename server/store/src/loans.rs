//! Loans.

use crate::access::permit::Permit;
use crate::animals::Lens;
use crate::doors::{Snapshot, Tx};
use crate::entity::loan;
use crate::error::Error;
use crate::facts::{covers, fact, known};
use crate::filter::Filter;
use crate::model::animal::Label;
use crate::model::loan::{End, Loan, Terms};
use crate::model::page::{Page, Slice};
use crate::taxa;
use crate::titles::Owner;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

/// A loan to begin.
pub struct Beginning {
    pub lender: Owner,
    pub borrower: Owner,
    pub at: DateTime<Utc>,
    pub on: NaiveDate,
    pub terms: Terms,
    pub transfer: Option<Uuid>,
}

/// A loan that lasts.
pub struct Open(loan::Model);

impl Open {
    /// Who lends.
    #[must_use]
    pub fn lender(&self) -> Owner {
        owner(self.0.lender_site_id, &self.0.lender_name)
    }

    /// Who borrows.
    #[must_use]
    pub fn borrower(&self) -> Owner {
        owner(self.0.borrower_site_id, &self.0.borrower_name)
    }

    /// When it began.
    #[must_use]
    pub const fn began_at(&self) -> DateTime<Utc> {
        self.0.began_at
    }
}

fn owner(site: Option<Uuid>, name: &str) -> Owner {
    site.map_or_else(|| Owner::Outside(name.to_owned()), Owner::Site)
}

fn parts(owner: Owner) -> (Option<Uuid>, String) {
    match owner {
        Owner::Site(site) => (Some(site), String::new()),
        Owner::Outside(name) => (None, name),
    }
}

/// Begins a loan.
///
/// # Errors
/// [`Error::Broken`] where the animal is on another at that time.
pub async fn begin(tx: &mut Tx, animal: Uuid, recorder: Uuid, new: Beginning) -> Result<(), Error> {
    let (lender_site_id, lender_name) = parts(new.lender);
    let (borrower_site_id, borrower_name) = parts(new.borrower);
    let row = fact!(
        tx,
        loan::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: recorder,
            loan_id: tx.new_id(),
            lender_site_id: lender_site_id,
            lender_name: lender_name,
            borrower_site_id: borrower_site_id,
            borrower_name: borrower_name,
            began_at: new.at,
            began_on: new.on,
            until_on: new.terms.until,
            terms: new.terms.text,
            transfer_id: new.transfer,
            ended_at: None,
            ended_on: None,
            ended_how: None,
        }
    );
    tx.insert(&[row]).await
}

/// The loan that an animal is on, if it is on one.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn open_of(snapshot: &Snapshot, animal: Uuid) -> Result<Option<Open>, Error> {
    let open = loan::Entity::find()
        .filter(loan::Column::AnimalId.eq(animal))
        .filter(loan::Column::SupersededAt.is_null())
        .filter(loan::Column::EndedAt.is_null())
        .one(snapshot.txn())
        .await?;
    Ok(open.map(Open))
}

/// Ends a loan; one that would end as it began never was.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn end(
    tx: &mut Tx,
    open: Open,
    (at, on): (DateTime<Utc>, NaiveDate),
    how: End,
    why: &str,
) -> Result<(), Error> {
    let Open(old) = open;
    tx.supersede_of::<loan::Entity>(old.animal_id, old.id, why).await?;
    if at <= old.began_at {
        return Ok(());
    }
    let on = on.max(old.began_on);
    rewrite(tx, old, |row| {
        row.ended_at = Some(at);
        row.ended_on = Some(on);
        row.ended_how = Some(how.as_str().to_owned());
    })
    .await
}

/// Gives a loan another last day.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn prolong(tx: &mut Tx, open: Open, until: NaiveDate, why: &str) -> Result<(), Error> {
    let Open(old) = open;
    tx.supersede_of::<loan::Entity>(old.animal_id, old.id, why).await?;
    rewrite(tx, old, |row| row.until_on = Some(until)).await
}

/// The same loan to the same borrower from another lender, from an instant on.
///
/// # Errors
/// [`Error::Contention`] where somebody changed it meanwhile.
pub async fn hand_on(
    tx: &mut Tx,
    recorder: Uuid,
    open: Open,
    lender: Owner,
    when: (DateTime<Utc>, NaiveDate),
    why: &str,
) -> Result<(), Error> {
    let old = open.0.clone();
    end(tx, open, when, End::TitlePassed, why).await?;
    let new = Beginning {
        lender,
        borrower: owner(old.borrower_site_id, &old.borrower_name),
        at: when.0,
        on: when.1,
        terms: Terms { until: old.until_on, text: old.terms },
        transfer: old.transfer_id,
    };
    begin(tx, old.animal_id, recorder, new).await
}

/// Another version of a loan. It stays of the site that it was of, whoever ends or prolongs it.
async fn rewrite(tx: &mut Tx, old: loan::Model, change: impl FnOnce(&mut loan::Model)) -> Result<(), Error> {
    let mut row = fact!(
        tx,
        loan::Model {
            id: tx.new_id(),
            animal_id: old.animal_id,
            site_id: old.site_id,
            loan_id: old.loan_id,
            lender_site_id: old.lender_site_id,
            lender_name: old.lender_name,
            borrower_site_id: old.borrower_site_id,
            borrower_name: old.borrower_name,
            began_at: old.began_at,
            began_on: old.began_on,
            until_on: old.until_on,
            terms: old.terms,
            transfer_id: old.transfer_id,
            ended_at: old.ended_at,
            ended_on: old.ended_on,
            ended_how: old.ended_how,
        }
    );
    change(&mut row);
    tx.insert(&[row]).await
}

/// Which loans are wanted.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted {
    /// Of this animal alone.
    pub animal: Option<Uuid>,
    /// With those that had ended.
    pub with_ended: bool,
    /// Only those whose last day is this one or before it.
    pub until: Option<NaiveDate>,
}

/// Loans in which a site lends or borrows, as of a lens: those that end first before the others, those without a
/// last day at the end.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: Wanted,
    lens: Lens,
    page: &Page,
) -> Result<Slice<Loan>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        loan_id: Uuid,
        animal_id: Uuid,
        number: Option<String>,
        house_name: Option<String>,
        scientific_name: String,
        lender: String,
        borrower: String,
        lends: bool,
        enclosure: Option<String>,
        began_on: NaiveDate,
        until_on: Option<NaiveDate>,
        terms: String,
        ended_on: Option<NaiveDate>,
        ended_how: Option<String>,
        key: String,
    }
    let key = "(coalesce(l.until_on::text, '9999-99-99') || l.loan_id::text)";
    let mut filter = Filter::after([
        permit.site().id.into(),
        snapshot.known_at().into(),
        lens.at.into(),
        page.after.clone().unwrap_or_default().into(),
    ]);
    filter.and("l.animal_id = ?", wanted.animal.map(|animal| [animal.into()]));
    filter.and("(l.ended_at IS NULL OR l.ended_at > $3)", (!wanted.with_ended).then_some([]));
    filter.and("l.until_on <= ?", wanted.until.map(|until| [until.into()]));
    let (filter, last, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT l.loan_id, l.animal_id, c.number, n.code AS house_name, t.scientific_name,
                coalesce(ls.code, l.lender_name) AS lender, coalesce(bs.code, l.borrower_name) AS borrower,
                l.lender_site_id IS NOT DISTINCT FROM $1 AS lends, e.name AS enclosure, l.began_on, l.until_on,
                l.terms, CASE WHEN l.ended_at <= $3 THEN l.ended_on END AS ended_on,
                CASE WHEN l.ended_at <= $3 THEN l.ended_how END AS ended_how, {key} AS key
           FROM loans l
           JOIN animals a ON a.id = l.animal_id
           {described}
           LEFT JOIN sites ls ON ls.id = l.lender_site_id
           LEFT JOIN sites bs ON bs.id = l.borrower_site_id
           LEFT JOIN LATERAL (SELECT x.number FROM accessions x WHERE x.animal_id = l.animal_id AND {known_x}
              ORDER BY (x.site_id = $1) DESC, x.recorded_at DESC LIMIT 1) c ON true
           LEFT JOIN LATERAL (SELECT m.code FROM marks m WHERE m.animal_id = l.animal_id
                AND m.kind = 'house_name' AND {known_m}
              ORDER BY m.ended_at DESC NULLS FIRST, m.began_at DESC LIMIT 1) n ON true
           LEFT JOIN placements p ON p.animal_id = l.animal_id AND p.site_id = $1 AND {known_p} AND {covers_p}
           LEFT JOIN enclosures e ON e.id = p.enclosure_id
          WHERE $1 IN (l.lender_site_id, l.borrower_site_id) AND {known_l} AND l.began_at <= $3 AND {key} > $4{filter}
          ORDER BY {key} LIMIT ${last}",
        described = taxa::described("a.taxon_id", 2),
        known_x = known("x", 2),
        known_m = known("m", 2),
        known_p = known("p", 2),
        covers_p = covers("p", 3),
        known_l = known("l", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let slice = Slice::cut(rows, page, |row| row.key.clone());
    let loans = slice.entries.into_iter().map(|row| {
        let how = row.ended_how.as_deref().map(|word| {
            let found = End::ALL.into_iter().find(|end| end.as_str() == word);
            found.ok_or_else(|| Error::corrupt("loans", "ended_how", word))
        });
        let ended = row.ended_on.zip(how.transpose()?);
        let left = row.until_on.filter(|_| ended.is_none()).map(|until| (until - lens.day).num_days());
        Ok(Loan {
            id: row.loan_id,
            animal: Label {
                id: row.animal_id,
                accession: row.number.unwrap_or_default(),
                house_name: row.house_name.unwrap_or_default(),
            },
            taxon: row.scientific_name,
            lender: row.lender,
            borrower: row.borrower,
            out: row.lends,
            enclosure: row.enclosure.unwrap_or_default(),
            began_on: row.began_on,
            terms: Terms { until: row.until_on, text: row.terms },
            days_left: left.map(|left| i32::try_from(left).unwrap_or(i32::MAX)),
            ended,
        })
    });
    Ok(Slice { entries: loans.collect::<Result<_, Error>>()?, next: slice.next })
}
