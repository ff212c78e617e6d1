//! Records that were entered by mistake: the animal never was. Nothing of such a record stands, and no count has it;
//! what it says stays to be seen, and stands again if that was the mistake.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Label, Status};
use crate::model::fact::FactKind;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, guard_version, holder, one_locked, view};
use crate::store::animals::{self, Lock};
use crate::store::mistakes::{self, Hanging};
use crate::store::{Tx, corrections, litters, retrying};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A record that is said to be a mistake, or no mistake after all.
#[derive(Clone, Debug)]
pub struct Asked {
    pub animal: String,
    pub because: String,
    /// Version of the animal that this was based on; 0 to skip the guard.
    pub version: i64,
}

/// What came of it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Told {
    pub animal: Animal,
    /// What stood of the record, or stands again: how many facts of each kind.
    pub facts: Vec<(FactKind, usize)>,
}

/// Says that a record was entered by mistake.
///
/// # Errors
/// Refused without the role there; where another site answers for the animal, the version passed, something hangs on the
/// record, or it is said already.
pub async fn withdraw(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    asked: &Asked,
) -> Result<Told> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("withdraw_animal", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let (label, animal) = meant(&tx, &permit, asked).await?;
        if animal.status == Status::Mistake {
            let say = format!("the record of {} was withdrawn already: {}", label.spoken(), animal.mistake);
            return Err(Refusal::new(Reason::Exists, say, "nothing needs to be done").at("animal").into());
        }
        if !holder::decides(&tx, &permit, label.id).await? {
            return Err(holder::elsewhere(&animal, FactKind::Mistake).into());
        }
        if let Some(hanging) = mistakes::hanging(&tx, &permit, label.id).await? {
            return Err(still_hangs(&permit, &label, &hanging).into());
        }
        let facts = told(&tx, label.id).await?;
        let litters = its_litters(&tx, label.id).await?;
        mistakes::insert(&mut tx, &permit, label.id, &asked.because).await?;
        for litter in litters {
            litters::bump(&mut tx, litter).await?;
        }
        answer(tx, &permit, &label, facts).await
    })
    .await
}

/// Takes that back: the record is of an animal, and stands again with all that it says.
///
/// # Errors
/// Refused without the role there; where the record is none of a mistake, another animal has one of its marks by now, or
/// the version passed.
pub async fn reinstate(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    asked: &Asked,
) -> Result<Told> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("reinstate_animal", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let (label, animal) = meant(&tx, &permit, asked).await?;
        let Some(standing) = mistakes::standing(&tx, label.id).await? else {
            let say = format!("the record of {} is not withdrawn", label.spoken());
            return Err(Refusal::new(Reason::Exists, say, "nothing needs to be done").at("animal").into());
        };
        if !holder::decides(&tx, &permit, label.id).await? {
            return Err(holder::elsewhere(&animal, FactKind::Mistake).into());
        }
        if let Some(parent) = mistakes::parent_that_never_was(&tx, label.id).await? {
            return Err(Refusal::new(
                Reason::OutOfOrder,
                format!(
                    "{} is a parent of {}, and its record was withdrawn",
                    parent.with.as_deref().unwrap_or("an animal"),
                    label.spoken()
                ),
                "let that record stand again first",
            )
            .at("animal")
            .fact("hanging", "parent")
            .into());
        }
        mistakes::end(&mut tx, standing, &asked.because).await?;
        for litter in its_litters(&tx, label.id).await? {
            litters::bump(&mut tx, litter).await?;
            let litter = super::litters::locked(&tx, &permit, litter, 0).await?;
            if let Some((on, left)) = litter.first_short() {
                return Err(Refusal::new(
                    Reason::LitterTooFew,
                    format!(
                        "of {}, {left} (males.females.unknown) would remain on {on}: its young died or were identified \
                         since",
                        litter.spoken()
                    ),
                    "correct the count of the litter first",
                )
                .fact("left", left.to_string())
                .fact("on", on.to_string())
                .into());
            }
        }
        let facts = told(&tx, label.id).await?;
        answer(tx, &permit, &label, facts).await
    })
    .await
}

/// Refuses to go on with a record that was entered by mistake.
pub(super) fn refuse(animal: &Animal, reason: Reason) -> std::result::Result<(), Refusal> {
    if animal.status != Status::Mistake {
        return Ok(());
    }
    let say = format!("the record of {} was withdrawn: {}", animal.label().spoken(), animal.mistake);
    Err(Refusal::new(reason, say, "reinstate it first"))
}

async fn meant(tx: &Tx, permit: &Permit, asked: &Asked) -> Result<(Label, Animal)> {
    let label = one_locked(tx, permit, &asked.animal, tx.now(), Lock::Change).await?;
    let animal = view(tx, permit, &label, tx.now()).await?;
    guard_version("animal", asked.version, animal.version)?;
    Ok((label, animal))
}

async fn answer(mut tx: Tx, permit: &Permit, label: &Label, facts: Vec<(FactKind, usize)>) -> Result<Told> {
    animals::bump(&mut tx, label.id).await?;
    let animal = view(&tx, permit, label, tx.now()).await?;
    Ok(tx.commit(Told { animal, facts }).await?)
}

/// How many facts of each kind stand.
async fn told(tx: &Tx, animal: Uuid) -> Result<Vec<(FactKind, usize)>> {
    let mut told: Vec<(FactKind, usize)> = Vec::new();
    for fact in mistakes::facts(tx, animal).await? {
        match told.iter_mut().find(|(kind, _)| *kind == fact.kind) {
            Some((_, count)) => *count += 1,
            None => told.push((fact.kind, 1)),
        }
    }
    Ok(told)
}

/// The litter that it was identified from.
async fn its_litters(tx: &Tx, animal: Uuid) -> Result<Vec<Uuid>> {
    let apart = corrections::standing(tx, animal, FactKind::ToldApart).await?;
    Ok(apart.iter().filter_map(|apart| apart.uuid("litter_id")).collect())
}

/// Why a record on which something hangs cannot be withdrawn yet.
fn still_hangs(permit: &Permit, label: &Label, hanging: &Hanging) -> Refusal {
    let day = hanging.at.map(|at| permit.site().day_of(at).to_string()).unwrap_or_default();
    let with = hanging.with.as_deref().unwrap_or("another animal");
    let (say, mend) = match hanging.what.as_str() {
        "merge" => (format!("it was merged on {day}"), "withdraw the merge first"),
        "transfer" => (
            format!("a transfer of it was proposed on {day}, which the other site knows of"),
            "cancel the transfer, or correct what is wrong with the animal",
        ),
        "parent" => (format!("it is a parent of {with}"), "correct the parents of that animal first"),
        "litter" => (
            format!("it is a parent of the litter born on {day}"),
            "correct the parents of that litter first",
        ),
        "encounter" => (format!("it took part in an encounter on {day}"), "withdraw that encounter first"),
        "owner" => (format!("{with} is its owner"), "correct its ownership first"),
        _ => (
            format!("another site recorded the {with} of it"),
            "correct what is wrong with the animal instead",
        ),
    };
    Refusal::new(
        Reason::OutOfOrder,
        format!("the record of {} cannot be withdrawn: {say}", label.spoken()),
        mend,
    )
    .at("animal")
    .fact("hanging", &hanging.what)
}
