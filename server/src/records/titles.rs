//! Titles: passed without a move, and held over animals that live elsewhere.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Status};
use crate::model::loan::End;
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::transfer::Terms as TransferTerms;
use crate::records::animals::{lens_of, on_the_move, owner};
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, guard_version, one_locked, view};
use crate::store::animals::{self, Lock};
use crate::store::titles::{self, Owner};
use crate::store::{loans, retrying, transfers};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// A title to pass.
#[derive(Clone, Debug)]
pub struct Passing {
    pub animal: String,
    /// Code of a site, or a name outside Holt.
    pub to: String,
    /// Today where none.
    pub on: Option<NaiveDate>,
    pub because: String,
    /// Version of the animal that this was based on; 0 to skip the guard.
    pub version: i64,
}

/// Records that somebody else owns an animal from a day on. A loan to the new owner ends with it; another goes on,
/// from the new owner.
///
/// # Errors
/// Refused without the role there; where the site does not own the animal, nor holds one of an owner outside Holt;
/// where it is dead, the ownership is about to pass with a transfer, or the day does not fit.
pub async fn pass(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &Passing,
) -> Result<Animal> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    let to = owner(records, &permit, &new.to).await?;
    retrying("pass_title", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_locked(&tx, &permit, &new.animal, tx.now(), Lock::Change).await?;
        let animal = view(&tx, &permit, &label, tx.now()).await?;
        guard_version("animal", new.version, animal.version)?;
        if let Some((id, state, TransferTerms::TitlePasses)) = transfers::open_of(&tx, animal.id).await? {
            return Err(on_the_move(&label.spoken(), id, state).at("animal").into());
        }
        let today = permit.site().day_of(tx.now());
        let on = new.on.unwrap_or(today);
        if on > today {
            return Err(Refusal::in_the_future("first day of the ownership", "passes_on").into());
        }
        let from = titles::standing(&tx, animal.id).await?;
        let Some((from, began_at)) = from.filter(|(from, _)| may_pass(&permit, &animal, from)) else {
            return Err(not_the_owner(&permit, &animal, "ask the owner to record it").into());
        };
        if from == to {
            let say = format!("{} is its owner already", animal.owner);
            return Err(Refusal::new(Reason::Exists, say, "nothing needs to be done").at("to").into());
        }
        let at = permit.site().start_of(on);
        if at <= began_at {
            let since = permit.site().day_of(began_at);
            return Err(Refusal::new(
                Reason::OutOfOrder,
                format!("{} has owned it only since {since}", animal.owner),
                "give a later day, or correct that ownership",
            )
            .at("passes_on")
            .into());
        }
        animals::bump(&mut tx, animal.id).await?;
        let record = titles::pass(&mut tx, animal.id, permit.site().id, to.clone(), at, &new.because).await?;
        if let Some(open) = loans::open_of(&tx, animal.id).await? {
            if open.borrower() == to {
                loans::end(&mut tx, open, (at, on), End::TitlePassed, &new.because).await?;
            } else {
                loans::hand_on(&mut tx, permit.site().id, open, to.clone(), (at, on), &new.because).await?;
            }
        }
        // An owner that does not hold it sees no more from here on than the record that it owned.
        let seen = animals::views(&tx, &[animal.id, record], lens_of(permit.site(), None, tx.now())).await?;
        let reply = seen.into_iter().next().ok_or_else(|| Refusal::not_found("animal", &label.accession))?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// The owner may, and the holder for an owner outside Holt.
fn may_pass(permit: &Permit, animal: &Animal, owner: &Owner) -> bool {
    match owner {
        Owner::Site(owner) => *owner == permit.site().id,
        Owner::Outside(_) => animal.status == Status::Held && animal.holder == permit.site().code,
    }
}

/// Somebody else owns the animal, or nobody any more.
pub(super) fn not_the_owner(permit: &Permit, animal: &Animal, mend: &str) -> Refusal {
    let owner = if animal.owner.is_empty() { "nobody" } else { &animal.owner };
    Refusal::new(
        Reason::NotTheOwner,
        format!("{} does not own {}: {owner} does", permit.site().code, animal.label().spoken()),
        mend,
    )
    .fact("owner", owner)
}

/// Animals that a site owns and does not hold, at the close of a day, as known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn owned_elsewhere(
    records: &Records,
    caller: &Caller,
    site: &str,
    as_of: Option<NaiveDate>,
    page: &Page,
    known_at: Option<DateTime<Utc>>,
) -> Result<Slice<Animal>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, known_at).await?;
    let ids = titles::owned_elsewhere(&snapshot, &permit, lens.at, page).await?;
    let wanted: Vec<Uuid> = ids.entries;
    Ok(Slice { entries: animals::views(&snapshot, &wanted, lens).await?, next: ids.next })
}
