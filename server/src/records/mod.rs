//! The rules of the trade, one file per concept: may they, is it so, then write.

pub mod alarms;
pub mod amendments;
pub(crate) mod ancestry;
pub mod animals;
pub mod assessments;
pub mod checks;
pub mod climate;
pub mod concerns;
pub mod corrections;
pub mod crate_readings;
pub mod deaths;
pub mod documents;
pub mod encounters;
pub mod enrichment;
pub mod error;
pub mod exchange;
pub(crate) mod expected;
pub mod feeding;
pub mod find;
pub mod groups;
pub mod history;
mod holder;
pub mod kinship;
pub mod ledger;
pub mod life_states;
pub mod litters;
pub mod loans;
pub mod marks;
pub mod merges;
pub mod mistakes;
pub(crate) mod observed;
pub mod papers;
mod parents;
pub mod partners;
pub mod people;
pub mod placements;
pub mod proposals;
pub(crate) mod pushed_out;
pub(crate) mod rations;
pub mod sites;
pub mod taxa;
pub mod titles;
pub mod transfers;
pub mod upsets;
pub mod waiting;
pub mod watches;
pub mod weights;

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Label};
use crate::model::death::Gone;
use crate::model::holding::Holding;
use crate::model::reason::Reason;
use crate::model::site::Site;
use crate::model::transfer::State;
use crate::records::error::{Refusal, Result};
use crate::store::animals::{Lens, Lock, Meant, Reference};
use crate::store::{Snapshot, Store, Tx, retrying};
use chrono::{DateTime, Utc};

/// Takes the transaction of a write that was not answered before; answers the others at once.
macro_rules! fresh {
    ($attempt:expr) => {
        match $attempt {
            crate::store::Attempt::Repeat(reply) => return Ok(reply),
            crate::store::Attempt::Fresh(tx) => *tx,
        }
    };
}

use fresh;

/// Everything that a rule needs beside its request.
#[derive(Clone)]
pub struct Records {
    /// The database.
    pub store: Store,
    /// Who may come in.
    pub door: std::sync::Arc<people::Door>,
    /// How many false concerns about weight an animal-year may have.
    pub false_a_year: f64,
    /// How many days before its last day a loan is among what is due.
    pub loan_notice_days: u16,
}

impl Records {
    /// The site of a code.
    ///
    /// # Errors
    /// Refused as not found.
    pub async fn site(&self, code: &str) -> Result<Site> {
        self.store.site(code).await?.ok_or_else(|| Refusal::not_found("site", code).into())
    }

    /// Leave to do something at a site.
    ///
    /// # Errors
    /// Refused where there is no such site in scope, or no role for it there.
    pub async fn permit(&self, caller: &Caller, deed: Deed, site: &str) -> Result<Permit> {
        Ok(caller.may(deed, &self.site(site).await?)?)
    }

    /// One instant of the records, as known at an instant (now where none is given), as far as the caller
    /// may read them: roles that read nothing open nothing.
    ///
    /// # Errors
    /// Faults only.
    pub async fn look(&self, caller: &Caller, known_at: Option<DateTime<Utc>>) -> Result<Snapshot> {
        Ok(self.store.read(&caller.reach(Deed::Read)?, known_at).await?)
    }

    /// One instant of the records of all sites: Holt's own sight, for what nobody is shown as a record. The
    /// caller's deadline holds.
    ///
    /// # Errors
    /// Faults only.
    pub(crate) async fn oversee(
        &self,
        caller: &Caller,
        deed: Deed,
        known_at: Option<DateTime<Utc>>,
    ) -> Result<Snapshot> {
        let mut itself = Caller::itself();
        itself.deadline = caller.deadline;
        Ok(self.store.read(&itself.reach(deed)?, known_at).await?)
    }

    /// The instant asked about, or now, once everything is known of it.
    ///
    /// # Errors
    /// Refused where writes are under way that do not end soon.
    pub async fn settled(&self, caller: &Caller, asked: Option<DateTime<Utc>>) -> Result<DateTime<Utc>> {
        retrying("settle", || async { Ok(self.store.settled(caller.deadline, asked).await?) }).await
    }

    /// Leave to do something at one site, or at all sites in scope where no code is given.
    ///
    /// # Errors
    /// Refused where there is no such site in scope, or no role for it there or anywhere.
    pub async fn permits(&self, caller: &Caller, deed: Deed, site: &str) -> Result<Vec<Permit>> {
        if !site.is_empty() {
            return Ok(vec![self.permit(caller, deed, site).await?]);
        }
        caller.reach(deed)?;
        Ok(self.store.sites().await?.iter().filter_map(|site| caller.may(deed, site).ok()).collect())
    }
}

/// The one animal that a reference means now, or the refusal that says why there is none.
pub(crate) async fn one_animal(
    snapshot: &Snapshot,
    permit: Option<&Permit>,
    text: &str,
    at: DateTime<Utc>,
) -> Result<Label> {
    let references = [Reference { text: text.to_owned(), at }];
    let mut meant = crate::store::animals::resolve(snapshot, permit, &references).await?;
    Ok(the_one(meant.pop().unwrap_or(Meant::Nobody), text)?)
}

/// The same, locked until the write ends.
async fn one_locked(tx: &Tx, permit: &Permit, text: &str, at: DateTime<Utc>, lock: Lock) -> Result<Label> {
    let references = [Reference { text: text.to_owned(), at }];
    let mut meant = crate::store::animals::lock(tx, permit, &references, lock).await?;
    Ok(the_one(meant.pop().unwrap_or(Meant::Nobody), text)?)
}

/// The animal that is meant, or the refusal that says why there is none.
fn the_one(meant: Meant, text: &str) -> std::result::Result<Label, Refusal> {
    match meant {
        Meant::One(label) => Ok(label),
        Meant::Nobody => Err(Refusal::not_found("animal", text)),
        Meant::Several(labels) => {
            let names: Vec<String> = labels.iter().map(Label::spoken).collect();
            Err(Refusal::new(
                Reason::AmbiguousAnimal,
                format!("`{text}` could be {}", names.join(" or ")),
                "name it by its accession or transponder",
            )
            .fact("candidates", names.join(", ")))
        }
    }
}

/// The animals that references mean, each held by the site at its instant; locked against a change of holder.
///
/// # Errors
/// Refused where one is nobody or could be several, or the site did not hold it then: all that are wrong are told,
/// `field` names the place of each.
pub(crate) async fn held_then(
    tx: &Tx,
    permit: &Permit,
    references: &[Reference],
    field: impl Fn(usize) -> String,
) -> Result<Vec<Label>> {
    let meant = crate::store::animals::lock(tx, permit, references, Lock::Share).await?;
    let found: Vec<std::result::Result<Label, Refusal>> =
        meant.into_iter().zip(references).map(|(meant, reference)| the_one(meant, &reference.text)).collect();
    let ids: Vec<uuid::Uuid> = found.iter().flatten().map(|label| label.id).collect();
    let holdings = crate::store::holdings::of(tx, &ids).await?;
    let site = permit.site();
    let mut labels = Vec::with_capacity(references.len());
    let mut refused: Option<Refusal> = None;
    for (n, (found, reference)) in found.into_iter().zip(references).enumerate() {
        let told = found.and_then(|label| {
            let held = holdings.iter().any(|holding| {
                holding.animal == label.id && holding.site == site.id && holding.covers(reference.at)
            });
            let (spoken, day) = (label.spoken(), site.day_of(reference.at));
            let none = || {
                Refusal::new(
                    Reason::AnimalNotHeldThen,
                    format!("{} did not hold {spoken} on {day}", site.code),
                    "check which animal is meant, and the day",
                )
                .fact("animal", label.id.to_string())
            };
            refuse_on_the_road(&holdings, permit, &label, reference.at)?;
            if held { Ok(label) } else { Err(none()) }
        });
        match told {
            Ok(label) => labels.push(label),
            Err(refusal) => {
                let refusal = refusal.at(field(n));
                match &mut refused {
                    Some(first) => first.at.extend(refusal.at),
                    none => *none = Some(refusal),
                }
            }
        }
    }
    match refused {
        Some(refusal) => Err(refusal.into()),
        None => Ok(labels),
    }
}

/// Refuses what cannot have been seen at a site, for the animal had left for another one, which has not received it.
fn refuse_on_the_road(
    holdings: &[Holding],
    permit: &Permit,
    animal: &Label,
    at: DateTime<Utc>,
) -> std::result::Result<(), Refusal> {
    let own = holdings.iter().filter(|one| one.animal == animal.id && one.site == permit.site().id);
    match own.filter_map(|holding| holding.on_the_road(at)).next() {
        Some(transfer) => Err(animals::on_the_move(&animal.spoken(), transfer, State::Dispatched)),
        None => Ok(()),
    }
}

/// What is known of one animal now, in the terms of a site.
pub(crate) async fn view(
    snapshot: &Snapshot,
    permit: &Permit,
    label: &Label,
    now: DateTime<Utc>,
) -> Result<Animal> {
    let lens = Lens { site: Some(permit.site().id), at: now, day: permit.site().day_of(now) };
    let mut views = crate::store::animals::views(snapshot, &[label.id], lens).await?;
    views.pop().ok_or_else(|| Refusal::not_found("animal", &label.accession).into())
}

/// Locks the one animal that a reference means and says what is known of it; refuses where the site does
/// not hold it now, with the reason.
async fn held_now(tx: &Tx, permit: &Permit, text: &str) -> Result<Animal> {
    let label = one_locked(tx, permit, text, tx.now(), Lock::Change).await?;
    let animal = view(tx, permit, &label, tx.now()).await?;
    if let Some(refusal) = not_held(tx, permit, &animal).await? {
        return Err(refusal.into());
    }
    Ok(animal)
}

/// Why a site does not hold an animal now; none where it does.
async fn not_held(snapshot: &Snapshot, permit: &Permit, animal: &Animal) -> Result<Option<Refusal>> {
    use crate::model::animal::Status;
    let code = &permit.site().code;
    let spoken = animal.label().spoken();
    Ok(match animal.status {
        Status::Held if animal.holder == *code => None,
        Status::Dead => {
            let gone = crate::store::deaths::gone(snapshot, animal.id).await?;
            let day = gone.map(|gone| gone.on.to_string()).unwrap_or_default();
            let gone = gone.map_or_else(|| "is dead".to_owned(), Gone::spoken);
            Some(
                Refusal::new(
                    Reason::AnimalDead,
                    format!("{spoken} {gone}"),
                    "check which animal is meant; if the death is wrong, the registrar corrects it",
                )
                .fact("died_on", day),
            )
        }
        status => {
            let now = match status {
                Status::Held if animal.holder.is_empty() => "another site holds it".to_owned(),
                Status::Held => format!("{} holds it", animal.holder),
                Status::AtLarge => "it escaped".to_owned(),
                Status::Mistake => format!("its record was entered by mistake ({})", animal.mistake),
                _ if animal.went_to.is_empty() => "it has departed".to_owned(),
                _ => format!("it went to {}", animal.went_to),
            };
            Some(
                Refusal::new(
                    Reason::AnimalNotHeldThen,
                    format!("{code} does not hold {spoken}: {now}"),
                    "check which animal is meant, and the day; propose changes of its life to its holder",
                )
                .fact("animal", animal.id.to_string()),
            )
        }
    })
}

/// Refuses a change that was based on another version; 0 skips the guard.
fn guard_version(what: &str, based_on: i64, version: i64) -> std::result::Result<(), Refusal> {
    if based_on == 0 || based_on == version { Ok(()) } else { Err(Refusal::version_passed(what, version)) }
}
