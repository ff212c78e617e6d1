//! Loans: begun with a move, prolonged with a reason, ended by a return or a new owner.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Destination};
use crate::model::check::{DueItem, DueState, Duty};
use crate::model::holding::{Began, Ended, When};
use crate::model::loan::{End, Loan, Terms};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::{enclosure, lens_of, off_the_books, on_its_day, refuse_on_the_move};
use crate::records::deaths::refuse_seen_later;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, held_now, one_locked, view};
use crate::store::animals::{Lens, Lock};
use crate::store::loans::{self, Open, Wanted};
use crate::store::titles::{self, Owner};
use crate::store::{Snapshot, Tx, accessions, animals, holdings, placements, retrying};
use chrono::{DateTime, Days, NaiveDate, Utc};
use uuid::Uuid;

/// A list of a few: one animal is on one loan at a time.
const ONE: Page = Page { size: 1, after: None };

/// Loans in which a site lends or borrows, at the close of a day, as known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    as_of: Option<NaiveDate>,
    with_ended: bool,
    page: &Page,
    known_at: Option<DateTime<Utc>>,
) -> Result<Slice<Loan>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, known_at).await?;
    let wanted = Wanted { with_ended, ..Wanted::default() };
    Ok(loans::list(&snapshot, &permit, wanted, lens, page).await?)
}

/// What falls due of loans at a site: those that end within `notice` days, and those that should have ended.
///
/// # Errors
/// Faults only.
pub(crate) async fn due(
    snapshot: &Snapshot,
    permit: &Permit,
    lens: Lens,
    notice: u16,
) -> Result<Vec<DueItem>> {
    let until = lens.day.checked_add_days(Days::new(notice.into()));
    let wanted = Wanted { until, ..Wanted::default() };
    let mut ending = Vec::new();
    let mut page = Page { size: 1000, after: None };
    loop {
        let some = loans::list(snapshot, permit, wanted, lens, &page).await?;
        ending.extend(some.entries);
        let Some(next) = some.next else { break };
        page.after = Some(next);
    }
    let items = ending.into_iter().filter_map(|loan| {
        let (until, left) = (loan.terms.until?, loan.days_left?);
        Some(DueItem {
            check: loan.id,
            duty: Duty::EndLoan,
            by_whom: String::new(),
            animal: loan.animal,
            enclosure: loan.enclosure,
            state: if left < 0 { DueState::Overdue } else { DueState::Due },
            due_on: until,
            days_late: 0.max(-left),
            open_dues: 1,
            last_done_on: None,
            tried_on: None,
            waiting: None,
        })
    });
    Ok(items.collect())
}

/// A new last day.
#[derive(Clone, Debug)]
pub struct Prolonged {
    pub animal: String,
    pub until: NaiveDate,
    pub because: String,
}

/// Gives a loan another last day.
///
/// # Errors
/// Refused without the role there; where the site neither lends nor borrows the animal, or the day has passed.
pub async fn prolong(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &Prolonged,
) -> Result<Loan> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("prolong_loan", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_locked(&tx, &permit, &new.animal, tx.now(), Lock::Change).await?;
        let open = of_the_site(&tx, &permit, label.id, &label.spoken()).await?;
        if new.until < permit.site().day_of(tx.now()) {
            return Err(Refusal::new(Reason::OutOfOrder, "that day has passed", "give a day in the future")
                .at("loan_until")
                .into());
        }
        loans::prolong(&mut tx, open, new.until, &new.because).await?;
        animals::bump(&mut tx, label.id).await?;
        let wanted = Wanted { animal: Some(label.id), ..Wanted::default() };
        let lens = lens_of(permit.site(), None, tx.now());
        let mut found = loans::list(&tx, &permit, wanted, lens, &ONE).await?.entries;
        let reply = found.pop().ok_or_else(|| no_loan(&permit, &label.spoken()))?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// An animal that comes or goes back.
#[derive(Clone, Debug)]
pub struct Returned {
    pub animal: String,
    pub when: When,
    /// Name of the enclosure that one that came back lives in; empty where none.
    pub enclosure: String,
}

/// Records that an animal came back from a borrower outside Holt, or went back to a lender outside Holt.
///
/// # Errors
/// Refused without the role there; where the site neither lends nor borrows the animal, the other party is a site
/// in Holt, or the time does not fit.
pub async fn returned(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    back: &Returned,
) -> Result<Animal> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("return_loan", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_locked(&tx, &permit, &back.animal, tx.now(), Lock::Change).await?;
        let open = of_the_site(&tx, &permit, label.id, &label.spoken()).await?;
        let field = if back.when.at.is_some() { "returned_at" } else { "returned_on" };
        match (open.lender(), open.borrower()) {
            (Owner::Site(_), Owner::Outside(borrower)) => {
                let at = back.when.at.unwrap_or_else(|| permit.site().start_of(back.when.day));
                fits(&permit, &open, back, at, tx.now(), field)?;
                came_back(&mut tx, &permit, label.id, borrower, back, at).await?;
                let when = (at, back.when.day);
                loans::end(&mut tx, open, when, End::Returned, "the animal came back").await?;
            }
            (Owner::Outside(lender), Owner::Site(_)) => {
                held_now(&tx, &permit, &back.animal).await?;
                let close = permit.site().close_of(back.when.day).min(tx.now());
                let at = back.when.at.unwrap_or(close);
                fits(&permit, &open, back, at, tx.now(), field)?;
                let then = (false, at, back.when.day);
                refuse_seen_later(&tx, label.id, &label.spoken(), then, field).await?;
                refuse_on_the_move(&tx, label.id, &label.spoken()).await?;
                let ending = holdings::Ending {
                    how: Ended::Departure,
                    at,
                    on: back.when.day,
                    source: Destination::Collection.as_str(),
                    name: lender,
                    country: String::new(),
                    transfer: None,
                };
                off_the_books(&mut tx, label.id, ending, "the animal went back").await?;
            }
            _ => {
                return Err(Refusal::new(
                    Reason::BetweenSites,
                    format!("{} is on loan between two sites in Holt", label.spoken()),
                    "propose a transfer back",
                )
                .into());
            }
        }
        animals::bump(&mut tx, label.id).await?;
        let reply = view(&tx, &permit, &label, tx.now()).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Refuses a return at a time that does not fit the loan.
fn fits(
    permit: &Permit,
    open: &Open,
    back: &Returned,
    at: DateTime<Utc>,
    now: DateTime<Utc>,
    field: &str,
) -> std::result::Result<(), Refusal> {
    if at > now || back.when.day > permit.site().day_of(now) {
        return Err(Refusal::in_the_future("day of return", field));
    }
    on_its_day(permit.site(), back.when.day, at, field)?;
    if at <= open.began_at() {
        let began = permit.site().day_of(open.began_at());
        return Err(Refusal::new(
            Reason::OutOfOrder,
            format!("the loan began on {began}, which is not before that"),
            "correct the time",
        )
        .at(field));
    }
    Ok(())
}

/// The site holds the animal again, under the number that it had.
async fn came_back(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    borrower: String,
    back: &Returned,
    at: DateTime<Utc>,
) -> Result<()> {
    let beginning = holdings::Beginning {
        how: Began::Arrival,
        at,
        on: back.when.day,
        source: crate::model::animal::ArrivalSource::Collection.as_str(),
        name: borrower,
        country: String::new(),
        transfer: None,
    };
    holdings::begin(tx, animal, permit.site().id, beginning).await?;
    accessions::take_in(tx, permit, animal, back.when.day).await?;
    if !back.enclosure.is_empty() {
        let enclosure = enclosure(tx, permit, &back.enclosure).await?;
        placements::begin(tx, permit, &[animal], enclosure, at).await?;
    }
    Ok(())
}

/// The loan that an animal is on, in which the site lends or borrows.
async fn of_the_site(tx: &Tx, permit: &Permit, animal: Uuid, spoken: &str) -> Result<Open> {
    let open = loans::open_of(tx, animal).await?;
    let own = |owner: Owner| matches!(owner, Owner::Site(site) if site == permit.site().id);
    let open = open.filter(|open| own(open.lender()) || own(open.borrower()));
    open.ok_or_else(|| no_loan(permit, spoken).into())
}

fn no_loan(permit: &Permit, spoken: &str) -> Refusal {
    Refusal::not_found("loan", &format!("of {spoken} at {}", permit.site().code))
}

/// Begins a loan with a coming or going that is being recorded.
pub(super) async fn begin(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    (lender, borrower): (Owner, Owner),
    (at, on): (DateTime<Utc>, NaiveDate),
    terms: &Terms,
    transfer: Option<Uuid>,
) -> Result<()> {
    if let Some(until) = terms.until.filter(|until| *until < on) {
        return Err(Refusal::new(
            Reason::OutOfOrder,
            format!("the loan would end on {until}, before it begins on {on}"),
            "correct one of the two days",
        )
        .at("loan.loan_until")
        .into());
    }
    let new = loans::Beginning { lender, borrower, at, on, terms: terms.clone(), transfer };
    Ok(loans::begin(tx, animal, permit.site().id, new).await?)
}

/// The animal passed from one site to another: a loan ends or goes on with it, and one may begin.
pub(super) async fn moved(
    tx: &mut Tx,
    permit: &Permit,
    animal: Uuid,
    on_loan: Option<&Terms>,
    when: (DateTime<Utc>, NaiveDate),
    transfer: Uuid,
) -> Result<()> {
    let site = permit.site().id;
    let own = |owner: &Owner| matches!(owner, Owner::Site(owner) if *owner == site);
    let owner = titles::open_of(tx, animal).await?;
    if let Some(open) = loans::open_of(tx, animal).await? {
        let how = match on_loan {
            _ if own(&open.lender()) => End::Returned,
            Some(_) => End::MovedOn,
            None => End::TitlePassed,
        };
        loans::end(tx, open, when, how, "the animal went to another site").await?;
    }
    match (on_loan, owner) {
        (Some(terms), Some(owner)) if !own(&owner) => {
            begin(tx, permit, animal, (owner, Owner::Site(site)), when, terms, Some(transfer)).await
        }
        _ => Ok(()),
    }
}

/// Ends the loan that an animal is on, as it goes off the books.
pub(super) async fn ended(
    tx: &mut Tx,
    animal: Uuid,
    how: Ended,
    when: (DateTime<Utc>, NaiveDate),
    why: &str,
) -> Result<()> {
    let how = match how {
        Ended::Death => End::Died,
        Ended::Escape => End::Escaped,
        Ended::Departure => End::Returned,
        Ended::Transfer => return Ok(()),
    };
    match loans::open_of(tx, animal).await? {
        Some(open) => Ok(loans::end(tx, open, when, how, why).await?),
        None => Ok(()),
    }
}
