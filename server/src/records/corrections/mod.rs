//! Corrections: a fact is changed or struck out, with a reason; what was recorded stays as it was known.

mod change;
mod facts;
pub mod parentage;
mod parties;
mod stretches;

pub use change::{Change, Code};
pub(super) use stretches::lasting;

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Label};
use crate::model::concern::Concern;
use crate::model::fact::{FactKind, Told, Version};
use crate::model::moment::Moment;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::site::Site;
use crate::records::error::{Error, Refusal, Result, Violation};
use crate::records::{Records, fresh, guard_version, history, holder, mistakes, one_locked, view, weights};
use crate::store::animals::Lock;
use crate::store::{Tx, corrections, merges, retrying};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// How long after it was recorded those who weigh may correct a reading without a registrar.
const NEW_READING: TimeDelta = TimeDelta::days(7);

/// What is asked to be corrected.
#[derive(Clone, Debug)]
pub struct Asked {
    pub animal: String,
    pub fact: Uuid,
    /// None: the fact is struck out.
    pub change: Option<Change>,
    pub because: String,
    /// Version of the animal that this was based on; 0 to skip the guard.
    pub version: i64,
}

/// What stands after a correction.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Corrected {
    /// The facts that were changed, the one that was meant first.
    pub facts: Vec<Told>,
    pub version: i64,
    pub concerns: Vec<Concern>,
}

/// A correction under way.
struct Work<'a> {
    tx: &'a mut Tx,
    permit: &'a Permit,
    animal: &'a Animal,
    fact: &'a Version,
    why: &'a str,
    /// Whether the site answers for the animal.
    decides: bool,
    /// A site that proposed this very change.
    consents: Option<&'a Site>,
    /// Identifiers of what was changed.
    done: Vec<Uuid>,
    /// Animals whose readings were changed.
    weighed: Vec<Label>,
}

/// Changes what a fact says, or strikes it out.
///
/// # Errors
/// Refused without the role there; where there is no such fact, it was corrected meanwhile, another site
/// recorded it, the change does not fit its kind, or what it would say contradicts another fact.
pub async fn correct(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    asked: &Asked,
) -> Result<Corrected> {
    let permit = records.permit(caller, Deed::Correct, site).await?;
    retrying("correct_fact", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_locked(&tx, &permit, &asked.animal, tx.now(), Lock::Change).await?;
        let animal = view(&tx, &permit, &label, tx.now()).await?;
        guard_version("animal", asked.version, animal.version)?;
        let fact = standing_fact(&tx, &animal, asked.fact).await?;
        may_correct(caller, &permit, &fact, asked.change.as_ref(), tx.now())?;
        let why = Why { because: asked.because.clone(), consents: None };
        let what = (asked.fact, asked.change.as_ref());
        let corrected = make(records, caller, &mut tx, &permit, &animal, what, &why).await?;
        Ok(tx.commit(corrected).await?)
    })
    .await
}

/// Why a fact is corrected, and at whose asking.
pub(super) struct Why {
    pub(super) because: String,
    /// A site that proposed the very change: what it recorded with the fact is changed along.
    pub(super) consents: Option<Site>,
}

/// The fact of an animal that is meant, which must stand.
pub(super) async fn standing_fact(tx: &Tx, animal: &Animal, id: Uuid) -> Result<Version> {
    let fact = corrections::find(tx, animal.id, id).await?;
    let Some(fact) = fact else { return Err(unknown(tx, animal, id).await?.into()) };
    if fact.stands() {
        return Ok(fact);
    }
    Err(Refusal::new(
        Reason::VersionPassed,
        format!("this {} was corrected or ended meanwhile", fact.kind.spoken()),
        "look at the animal's history again, and correct what stands now",
    )
    .fact("version", animal.version.to_string())
    .into())
}

/// Why there is no such fact of an animal that could be corrected.
async fn unknown(tx: &Tx, animal: &Animal, fact: Uuid) -> Result<Refusal> {
    let malformed = |say: &str, mend: &str| malformed("fact_id", say, mend);
    match corrections::joint(tx, animal.id, fact).await? {
        Some(FactKind::Encounter) => {
            return Ok(malformed(
                "an encounter belongs to all the animals that took part",
                "withdraw the encounter, and record it again",
            ));
        }
        Some(FactKind::Transfer) => {
            return Ok(malformed(
                "a transfer belongs to both sites",
                "correct the holding that began or ended with it",
            ));
        }
        Some(FactKind::Mistake) => {
            return Ok(malformed("a mistake is of the whole record", "reinstate the animal"));
        }
        Some(_) => return Ok(malformed("a merge belongs to two records", "withdraw the merge")),
        None => {}
    }
    if !merges::sets_aside(tx, animal.id, fact).await? {
        return Ok(Refusal::not_found("fact", &fact.to_string()));
    }
    Ok(Refusal::new(
        Reason::MergeConflict,
        "a merge sets this fact aside",
        "correct the fact that stands in its place, or withdraw the merge first",
    ))
}

/// Makes a correction of an animal that is locked.
pub(super) async fn make(
    records: &Records,
    caller: &Caller,
    tx: &mut Tx,
    permit: &Permit,
    animal: &Animal,
    (fact, change): (Uuid, Option<&Change>),
    why: &Why,
) -> Result<Corrected> {
    mistakes::refuse(animal, Reason::OutOfOrder).map_err(|refusal| refusal.at("animal"))?;
    let fact = standing_fact(tx, animal, fact).await?;
    let decides = holder::decides(tx, permit, animal.id).await?;
    holder::refuse_anothers(permit, animal, decides, &fact, None)?;
    let said = format!("{}: {}", if change.is_some() { "corrected" } else { "withdrawn" }, why.because);
    let mut work = Work {
        tx: &mut *tx,
        permit,
        animal,
        fact: &fact,
        why: &said,
        decides,
        consents: why.consents.as_ref(),
        done: Vec::new(),
        weighed: Vec::new(),
    };
    match change {
        Some(change) => work.change(change).await?,
        None => work.strike_out().await?,
    }
    work.nothing_astray().await?;
    let (done, weighed) = (work.done, work.weighed);
    let concerns = weights::watch_again(records, tx, permit, &weighed).await?;
    let version = crate::store::animals::bump(tx, animal.id).await?;
    for other in weighed.iter().filter(|other| other.id != animal.id) {
        crate::store::animals::bump(tx, other.id).await?;
    }
    let owners: Vec<Uuid> = std::iter::once(animal.id).chain(weighed.iter().map(|label| label.id)).collect();
    let facts = history::these(tx, caller, &owners, &done).await?;
    Ok(Corrected { facts, version, concerns })
}

/// Refuses whoever is no registrar, but for readings of the last days: rounds are shared, and whoever sees the slip
/// corrects it under their own name. What another recorded they do not make away with.
fn may_correct(
    caller: &Caller,
    permit: &Permit,
    fact: &Version,
    change: Option<&Change>,
    now: DateTime<Utc>,
) -> std::result::Result<(), Refusal> {
    let Err(denied) = caller.may(Deed::Register, permit.site()) else { return Ok(()) };
    let new = fact.kind == FactKind::Weight
        && fact.instant("recorded_at").is_some_and(|at| now - at <= NEW_READING);
    if !new {
        return Err(denied.into());
    }
    if change.is_none() {
        refuse_anothers_reading(caller, permit, fact, "withdraw")?;
    }
    Ok(())
}

/// Refuses to do something with a reading that somebody else recorded, unless a registrar does.
pub(super) fn refuse_anothers_reading(
    caller: &Caller,
    permit: &Permit,
    fact: &Version,
    deed: &str,
) -> std::result::Result<(), Refusal> {
    let own = fact.uuid("recorded_by") == Some(caller.person);
    if own || caller.may(Deed::Register, permit.site()).is_ok() {
        return Ok(());
    }
    let mend =
        format!("ask whoever recorded it, or a registrar, to {deed} it; or correct what the scale showed");
    Err(Refusal::new(Reason::RoleNeeded, "somebody else recorded this reading", &mend)
        .fact("role_needed", "registrar"))
}

fn malformed(field: &str, say: impl Into<String>, mend: &str) -> Refusal {
    Refusal::malformed(vec![Violation { field: field.to_owned(), say: say.into(), mend: mend.to_owned() }])
}

fn out_of_order(say: impl Into<String>, mend: &str) -> Refusal {
    Refusal::new(Reason::OutOfOrder, say, mend)
}

fn elsewhere(how: &str, mend: &str) -> Error {
    out_of_order(format!("it {how}"), mend).at("change").into()
}

fn passed(how: &str) -> Error {
    elsewhere(
        &format!("{how} with a transfer, at one instant for both sites"),
        "that instant cannot be corrected here",
    )
}

impl Work<'_> {
    async fn change(&mut self, change: &Change) -> Result<()> {
        change.fits(self.fact.kind)?;
        match self.fact.kind {
            FactKind::Birth => self.birth(change).await,
            FactKind::Sex => self.sex(change).await,
            FactKind::Parent => self.parent(change).await,
            FactKind::Weight => self.weight(change).await,
            FactKind::Assessment => self.assessment(change).await,
            FactKind::Death => self.death(change).await,
            FactKind::Holding => self.holding(change).await,
            FactKind::Paper => self.paper(change).await,
            FactKind::Title => self.title(change).await,
            FactKind::Loan => self.loan(change).await,
            FactKind::Placement | FactKind::Membership | FactKind::Mark | FactKind::LifeState => {
                self.stretch(change, Map::new()).await
            }
            FactKind::Accession
            | FactKind::Encounter
            | FactKind::Transfer
            | FactKind::Merge
            | FactKind::Mistake
            | FactKind::ToldApart => Ok(()),
        }
    }

    /// Supersedes the fact that is meant by one with other columns.
    async fn put(&mut self, changes: Value) -> Result<()> {
        let changes: Map<String, Value> = changes.as_object().cloned().unwrap_or_default();
        if changes.iter().all(|(column, value)| self.fact.row.get(column) == Some(value)) {
            let say = format!("the {} is already so", self.fact.kind.spoken());
            return Err(malformed("change", say, "nothing needs to be done").into());
        }
        self.replace(self.fact, changes).await
    }

    /// Supersedes a fact by one with other columns. What is of the animal's life is its holder's from then on; what
    /// a site that consents recorded stays that site's.
    async fn replace(&mut self, old: &Version, mut columns: Map<String, Value>) -> Result<()> {
        // Whose fact it is stays so where no more than its end moves along, with a death for one.
        let ends_along =
            old.id() != self.fact.id() && columns.keys().all(|column| column.starts_with("ended_"));
        if !ends_along {
            holder::refuse_anothers(
                self.permit,
                self.animal,
                self.decides,
                old,
                self.consents.map(|site| site.id),
            )?;
        }
        if !ends_along && holder::is_of_its_life(old.kind) {
            columns.insert("site_id".to_owned(), json!(self.permit.site().id));
        }
        self.refuse_after_death(old, &columns).await?;
        let new = corrections::replace(self.tx, old, &columns, self.why).await?;
        match self.done.iter_mut().find(|id| **id == old.id()) {
            Some(id) => *id = new.id(),
            None => self.done.push(new.id()),
        }
        Ok(())
    }

    /// Refuses that something was seen of the animal, or lasted, beyond its death.
    async fn refuse_after_death(&self, old: &Version, columns: &Map<String, Value>) -> Result<()> {
        let last = match old.kind {
            FactKind::Weight => "weighed_at",
            FactKind::Assessment => "assessed_at",
            FactKind::Placement | FactKind::Membership | FactKind::LifeState | FactKind::Mark => "ended_at",
            _ => return Ok(()),
        };
        if !columns.contains_key(last) {
            return Ok(());
        }
        let new =
            Version { kind: old.kind, row: old.row.clone().into_iter().chain(columns.clone()).collect() };
        let deaths = corrections::standing(self.tx, self.animal.id, FactKind::Death).await?;
        let Some(died) = deaths.first().and_then(|death| death.instant("died_at")) else { return Ok(()) };
        let died_on = deaths.first().and_then(|death| death.day("died_on"));
        let that_day = new.row.get("day_only") == Some(&json!(true)) && new.day("weighed_on") <= died_on;
        if new.instant(last).is_some_and(|at| at <= died) || that_day {
            return Ok(());
        }
        let day = self.permit.site().day_of(died);
        let say = format!("the animal died on {day}, and the {} would be after that", old.kind.spoken());
        Err(out_of_order(say, "give an earlier time, or correct the death first").at("change").into())
    }

    /// The instant of a moment and its day, and whether the day alone is known; refused in the future.
    fn moment(
        &self,
        site: &Site,
        moment: Moment,
        of_day: impl Fn(NaiveDate) -> DateTime<Utc>,
    ) -> std::result::Result<(DateTime<Utc>, NaiveDate, bool), Refusal> {
        let now = self.tx.now();
        let (at, day, day_only) = match moment {
            Moment::At(at) => (at, site.day_of(at), false),
            Moment::On(day) if day > site.day_of(now) => {
                return Err(Refusal::in_the_future("day", "change.happened_on"));
            }
            Moment::On(day) => (of_day(day).min(now), day, true),
        };
        if at > now {
            Err(Refusal::in_the_future("time", "change.happened_at"))
        } else {
            Ok((at, day, day_only))
        }
    }

    fn beginning(&self, moment: Moment) -> std::result::Result<(DateTime<Utc>, NaiveDate, bool), Refusal> {
        let site = self.permit.site();
        self.moment(site, moment, |day| site.start_of(day))
    }

    fn end(&self, moment: Moment) -> std::result::Result<(DateTime<Utc>, NaiveDate, bool), Refusal> {
        let site = self.permit.site();
        self.moment(site, moment, |day| site.close_of(day))
    }

    async fn strike_out(&mut self) -> Result<()> {
        match self.fact.kind {
            FactKind::Weight => self.weighed.push(self.animal.label()),
            FactKind::Death => {
                corrections::withdraw(self.tx, self.fact, self.why).await?;
                let died = self.fact.instant("died_at").unwrap_or_default();
                return self.move_end(died, None).await;
            }
            FactKind::Sex => {
                let all = corrections::standing(self.tx, self.animal.id, FactKind::Sex).await?;
                if all.len() == 1 {
                    return Err(elsewhere("is all that is known", "correct it to `unknown` instead"));
                }
            }
            FactKind::Title => return self.never_passed().await,
            FactKind::Loan => return self.never_lent().await,
            FactKind::Parent
            | FactKind::Placement
            | FactKind::Membership
            | FactKind::Mark
            | FactKind::LifeState
            | FactKind::Paper
            | FactKind::Assessment => {}
            FactKind::Birth
            | FactKind::Holding
            | FactKind::Accession
            | FactKind::Encounter
            | FactKind::Transfer
            | FactKind::Merge
            | FactKind::Mistake
            | FactKind::ToldApart => {
                let kind = self.fact.kind.spoken();
                let say = format!("a {kind} cannot be withdrawn: an animal has one");
                return Err(malformed("fact_id", say, "correct it instead").into());
            }
        }
        Ok(corrections::withdraw(self.tx, self.fact, self.why).await?)
    }

    fn astray(&self, kind: &str, at: DateTime<Utc>) -> Refusal {
        let day = self.permit.site().day_of(at);
        out_of_order(
            format!("the {kind} of {day} would be at a time when the site did not hold the animal"),
            "correct or withdraw that one first, or give another time",
        )
        .fact("kind", kind)
        .fact("day", day.to_string())
    }

    /// Refuses a correction that leaves something where no site held the animal.
    async fn nothing_astray(&self) -> Result<()> {
        let animals = std::iter::once(self.animal.id).chain(self.weighed.iter().map(|label| label.id));
        for animal in animals {
            if let Some(stray) = corrections::stray(self.tx, animal).await? {
                return Err(self.astray(&stray.kind, stray.at).into());
            }
        }
        if let Some(from) = corrections::unowned(self.tx, self.animal.id).await? {
            let day = self.permit.site().day_of(from);
            return Err(out_of_order(
                format!("from {day} on it would be held without an owner"),
                "give a time at which it has an owner, or correct the owner before or after that first",
            )
            .fact("day", day.to_string())
            .into());
        }
        Ok(())
    }
}
