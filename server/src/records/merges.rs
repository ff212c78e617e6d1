//! Merges: two records are found to be of one animal, and what is known of one is moved to the other.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Label};
use crate::model::fact::{FactKind, Version};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, guard_version, the_one, view};
use crate::store::animals::{self, Lock, Reference};
use crate::store::{Tx, corrections, litters, merges, retrying, transfers};
use chrono::{DateTime, Utc};
use holt_audit::terms::Sex;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// Two records that are found to be of one animal.
#[derive(Clone, Debug)]
pub struct Asked {
    pub keep: String,
    pub give_up: String,
    pub because: String,
    pub keep_version: i64,
    pub give_up_version: i64,
}

/// What came of a merge.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Merged {
    pub animal: Animal,
    pub merge: Uuid,
    pub moved: usize,
    pub left: usize,
}

/// A merge that is found to be wrong.
#[derive(Clone, Debug)]
pub struct Wrong {
    pub animal: String,
    pub merge: Uuid,
    pub because: String,
    pub version: i64,
}

/// What becomes of a fact of the record that is given up.
enum Fate {
    /// It becomes one of the other.
    Moves,
    /// The other has it already, or more.
    Stays,
    /// It contradicts what is known of the other.
    Clashes(String),
}

/// Gives one record up for another.
///
/// # Errors
/// Refused without the role at each site that recorded what is moved; where there is no such animal, one of
/// them is on the move, a version passed, or the two contradict one another, with all that must be corrected
/// first.
pub async fn merge(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    asked: &Asked,
) -> Result<Merged> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("merge_animals", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let (keep, gone) = both(&tx, &permit, &asked.keep, &asked.give_up).await?;
        guard_version("animal that stays", asked.keep_version, keep.version)?;
        guard_version("animal that is given up", asked.give_up_version, gone.version)?;
        refuse_different(&tx, &keep, &gone).await?;
        let why = format!("found to be {}: {}", keep.label().spoken(), asked.because);
        let mut plan = Vec::new();
        let mut clashes = Vec::new();
        for kind in merges::KINDS {
            let known = corrections::standing(&tx, keep.id, kind).await?;
            for fact in corrections::standing(&tx, gone.id, kind).await? {
                refuse_foreign(caller, &fact, &permit, records).await?;
                match fate(&fact, &known) {
                    Fate::Moves => plan.push((fact, true)),
                    Fate::Stays => plan.push((fact, false)),
                    Fate::Clashes(what) => clashes.push(what),
                }
            }
        }
        if !clashes.is_empty() {
            let clashes = clashes.join("; ");
            return Err(Refusal::new(
                Reason::MergeConflict,
                format!("what is known of the two cannot be true of one animal: {clashes}"),
                "correct or strike out what is wrong, and merge then",
            )
            .fact("conflicts", clashes)
            .into());
        }
        let birth = corrections::standing(&tx, keep.id, FactKind::Birth).await?;
        let mut moved = 0;
        let total = plan.len();
        for (fact, moves) in plan {
            if let Some(litter) = fact.uuid("litter_id") {
                litters::bump(&mut tx, litter).await?;
            }
            if fact.kind == FactKind::Birth {
                moved += usize::from(fill_birth(&mut tx, &birth, &fact, &why).await?);
            } else if moves {
                let to = Map::from_iter([("animal_id".to_owned(), json!(keep.id))]);
                corrections::replace(&mut tx, &fact, &to, &why).await?;
                moved += 1;
            } else if fact.kind != FactKind::Accession {
                corrections::withdraw(&mut tx, &fact, &why).await?;
            }
        }
        merges::point(&mut tx, caller, gone.id, keep.id, &why).await?;
        merges::point_litters(&mut tx, caller, gone.id, keep.id, &why).await?;
        let merge = merges::insert(&mut tx, &permit, gone.id, keep.id, &asked.because).await?;
        animals::bump(&mut tx, gone.id).await?;
        animals::bump(&mut tx, keep.id).await?;
        let animal = view(&tx, &permit, &keep.label(), tx.now()).await?;
        Ok(tx.commit(Merged { animal, merge, moved, left: total - moved }).await?)
    })
    .await
}

/// The two animals that are meant, both locked.
async fn both(tx: &Tx, permit: &Permit, keep: &str, gone: &str) -> Result<(Animal, Animal)> {
    let references = [keep, gone].map(|text| Reference { text: text.to_owned(), at: tx.now() });
    let mut meant = animals::resolve(tx, Some(permit), &references, Lock::Change).await?.into_iter();
    let mut one = |text: &str| -> Result<Label> {
        let meant = meant.next().unwrap_or(animals::Meant::Nobody);
        Ok(the_one(meant, text)?)
    };
    let (kept, given_up) = (one(keep)?, one(gone)?);
    if kept.id == given_up.id {
        return Err(Refusal::new(
            Reason::MergeConflict,
            format!("`{keep}` and `{gone}` are one animal already: {}", kept.spoken()),
            "name two records",
        )
        .at("give_up")
        .into());
    }
    Ok((view(tx, permit, &kept, tx.now()).await?, view(tx, permit, &given_up, tx.now()).await?))
}

/// Refuses two that cannot be one.
async fn refuse_different(tx: &Tx, keep: &Animal, gone: &Animal) -> Result<()> {
    let different = |what: String, mend: &str| Refusal::new(Reason::MergeConflict, what, mend);
    if keep.taxon.id != gone.taxon.id {
        return Err(different(
            format!("one is a {}, the other a {}", keep.taxon.scientific_name, gone.taxon.scientific_name),
            "check which animals are meant",
        )
        .into());
    }
    if keep.sex != gone.sex && keep.sex != Sex::Unknown && gone.sex != Sex::Unknown {
        return Err(different(
            "one is male, the other female".to_owned(),
            "correct the sex that is wrong first, or check which animals are meant",
        )
        .into());
    }
    if let Some((one, other)) = keep.born.zip(gone.born).filter(|(a, b)| a.last < b.first || b.last < a.first)
    {
        return Err(different(
            format!(
                "one was born by {}, the other not before {}",
                one.last.min(other.last),
                one.first.max(other.first)
            ),
            "correct the birth that is wrong first",
        )
        .into());
    }
    for animal in [keep, gone] {
        if transfers::open_of(tx, animal.id).await?.is_some() {
            return Err(Refusal::new(
                Reason::AnimalOnTheMove,
                format!("{} is on an open transfer", animal.label().spoken()),
                "finish, refuse or call off that transfer first",
            )
            .into());
        }
    }
    Ok(())
}

/// Refuses to move what a site recorded where the caller is no registrar.
async fn refuse_foreign(caller: &Caller, fact: &Version, permit: &Permit, records: &Records) -> Result<()> {
    if fact.site() == permit.site().id {
        return Ok(());
    }
    let site = records.store.site_of(fact.site()).await?;
    if site.as_ref().is_some_and(|site| caller.may(Deed::Register, site).is_ok()) {
        return Ok(());
    }
    let code = site.map_or_else(|| "another site".to_owned(), |site| site.code);
    Err(Refusal::new(
        Reason::FactOfAnotherSite,
        format!("{code} recorded the {} of one of the two", fact.kind.spoken()),
        format!("let somebody merge them who is registrar at {code}, too"),
    )
    .fact("site", code)
    .into())
}

/// From when until when a fact holds.
fn stretch(fact: &Version) -> (DateTime<Utc>, Option<DateTime<Utc>>) {
    (fact.instant("began_at").unwrap_or_default(), fact.instant("ended_at"))
}

fn meet(one: &Version, other: &Version) -> bool {
    let ((from, to), (other_from, other_to)) = (stretch(one), stretch(other));
    to.is_none_or(|to| other_from < to) && other_to.is_none_or(|to| from < to)
}

/// Whether `one` lasts all the time that `other` does.
fn spans(one: &Version, other: &Version) -> bool {
    let ((from, to), (other_from, other_to)) = (stretch(one), stretch(other));
    from <= other_from && to.is_none_or(|to| other_to.is_some_and(|other| other <= to))
}

fn same(one: &Version, other: &Version, columns: &[&str]) -> bool {
    columns.iter().all(|column| one.row.get(*column) == other.row.get(*column))
}

fn fate(fact: &Version, known: &[Version]) -> Fate {
    let day = |fact: &Version| stretch(fact).0.format("%Y-%m-%d").to_string();
    let any = |columns: &[&str]| known.iter().any(|other| same(fact, other, columns));
    match fact.kind {
        // What is known of the birth is filled in, not moved.
        FactKind::Birth => Fate::Stays,
        FactKind::Sex if any(&["determined_on"]) => Fate::Stays,
        FactKind::Parent if any(&["kind", "parent_id"]) => Fate::Stays,
        FactKind::Parent if fact.text("kind") == Some("dam") && any(&["kind"]) => {
            Fate::Clashes("they have different dams".to_owned())
        }
        FactKind::Paper if any(&["site_id", "occasion", "kind", "number", "issued_by_country"]) => {
            Fate::Stays
        }
        FactKind::Accession if any(&["site_id"]) => Fate::Stays,
        FactKind::Mark
            if known.iter().any(|other| same(fact, other, &["kind", "code"]) && spans(other, fact)) =>
        {
            Fate::Stays
        }
        FactKind::Mark
            if fact.text("kind") == Some("transponder")
                && known.iter().any(|other| same(fact, other, &["kind", "code"]) && meet(other, fact)) =>
        {
            let code = fact.text("code").unwrap_or_default();
            Fate::Clashes(format!("the transponder {code} was put on at two times"))
        }
        FactKind::Holding | FactKind::Title | FactKind::Loan | FactKind::Placement | FactKind::Membership => {
            let (who, what): (&[&str], &str) = match fact.kind {
                FactKind::Holding => (&["site_id"], "both are held"),
                FactKind::Title => (&["owner_site_id", "owner_name"], "both are owned"),
                FactKind::Loan => (
                    &["lender_site_id", "lender_name", "borrower_site_id", "borrower_name"],
                    "both are on loan",
                ),
                FactKind::Membership => (&["group_id", "role"], "they belong to groups"),
                _ => (&["enclosure_id"], "they live in two places"),
            };
            if known.iter().any(|other| same(fact, other, who) && spans(other, fact)) {
                Fate::Stays
            } else if let Some(other) = known.iter().find(|other| meet(fact, other)) {
                Fate::Clashes(format!("{what} at one time, since {} and since {}", day(other), day(fact)))
            } else {
                Fate::Moves
            }
        }
        FactKind::Weight => match known.iter().find(|other| same(fact, other, &["weighed_at"])) {
            Some(other) if same(fact, other, &["mass_mg"]) => Fate::Stays,
            Some(_) => {
                let at = fact.text("weighed_at").unwrap_or_default();
                Fate::Clashes(format!("they weighed differently at {at}"))
            }
            None => Fate::Moves,
        },
        // Two that were told apart out of a litter and are one: one of them is counted in it again.
        FactKind::Death | FactKind::ToldApart if !known.is_empty() => Fate::Stays,
        _ => Fate::Moves,
    }
}

/// Tells the day of birth of the record that is given up, where the other has none. Whether that was so.
async fn fill_birth(tx: &mut Tx, known: &[Version], given_up: &Version, why: &str) -> Result<bool> {
    corrections::withdraw(tx, given_up, why).await?;
    let empty = known.iter().find(|birth| birth.day("born_first").is_none());
    let Some(empty) = empty.filter(|_| given_up.day("born_first").is_some()) else { return Ok(false) };
    let columns = ["born_first", "born_last", "estimated"];
    let days =
        columns.map(|column| (column.to_owned(), given_up.row.get(column).cloned().unwrap_or(Value::Null)));
    corrections::replace(tx, empty, &Map::from_iter(days), why).await?;
    Ok(true)
}

/// Takes a merge back.
///
/// # Errors
/// Refused without the role there; where there is no such animal or merge, the version passed, or something
/// that was moved was corrected since.
pub async fn unmerge(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    wrong: &Wrong,
) -> Result<(Animal, Animal)> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("unmerge_animals", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let unknown = || Refusal::not_found("merge that stands", &wrong.merge.to_string());
        let label =
            crate::records::one_animal(&tx, Some(&permit), &wrong.animal, tx.now(), Lock::Change).await?;
        let keep = view(&tx, &permit, &label, tx.now()).await?;
        guard_version("animal", wrong.version, keep.version)?;
        let merge = merges::standing(&tx, keep.id, wrong.merge).await?.ok_or_else(unknown)?;
        if merge.site_id != permit.site().id {
            return Err(Refusal::new(
                Reason::FactOfAnotherSite,
                "another site merged them",
                "ask that site's registrar to take it back",
            )
            .into());
        }
        let why = format!("the merge was wrong: {}", wrong.because);
        let written = merges::written_in(&tx, keep.id, merge.animal_id, merge.request_id).await?;
        if let Some(later) = written.iter().find(|fact| !fact.stands()) {
            return Err(Refusal::new(
                Reason::MergeConflict,
                format!("the {} was corrected or ended since they were merged", later.kind.spoken()),
                "correct what is wrong with each fact instead, or merge what is missing into a new record",
            )
            .fact("kind", later.kind.spoken())
            .into());
        }
        if merges::litters_changed_since(&tx, merge.request_id).await? {
            return Err(Refusal::new(
                Reason::MergeConflict,
                "the parents of a litter that the merge changed were corrected since",
                "correct what is wrong with each fact instead",
            )
            .into());
        }
        for fact in &written {
            refuse_foreign(caller, fact, &permit, records).await?;
            corrections::withdraw(&mut tx, fact, &why).await?;
        }
        for fact in merges::superseded_in(&tx, keep.id, merge.animal_id, merge.request_id).await? {
            corrections::restore(&mut tx, &fact).await?;
        }
        for litter in written.iter().filter_map(|fact| fact.uuid("litter_id")) {
            litters::bump(&mut tx, litter).await?;
        }
        merges::restore_litters(&mut tx, merge.request_id, &why).await?;
        merges::end(&mut tx, &merge, &why).await?;
        animals::bump(&mut tx, keep.id).await?;
        animals::bump(&mut tx, merge.animal_id).await?;
        let kept = view(&tx, &permit, &label, tx.now()).await?;
        let other = Label { id: merge.animal_id, accession: String::new(), house_name: String::new() };
        let given_up = view(&tx, &permit, &other, tx.now()).await?;
        Ok(tx.commit((kept, given_up)).await?)
    })
    .await
}
