//! Merges: two records are found to be of one animal. The link says so; the facts of either stay as they are, and
//! what contradicts one another is resolved by name.

mod lives;
mod pairs;
mod plan;

pub use plan::{Conflict, Named, Stands};

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Label};
use crate::model::fact::{FactKind, Version};
use crate::model::holding::Ended;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::lens_of;
use crate::records::error::{Refusal, Result, Violation};
use crate::records::{Records, fresh, guard_version, holder, mistakes, one_locked, the_one, view};
use crate::store::animals::{self, Lock, Reference};
use crate::store::merges::Link;
use crate::store::{Tx, corrections, holdings, litters, merges, retrying, transfers};
use plan::{Aside, Facts, Goes, Plan, record};
use serde::{Deserialize, Serialize};
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

/// How many conflicts a refusal lists: with their names they fit into the trailers that ordinary clients read.
const MOST_CONFLICTS: usize = 10;

/// Two records that are found to be of one animal.
#[derive(Clone, Debug)]
pub struct Asked {
    pub keep: String,
    pub give_up: String,
    pub because: String,
    pub keep_version: i64,
    pub give_up_version: i64,
    pub stands: Vec<Stands>,
}

/// What came of a merge.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Merged {
    pub animal: Animal,
    pub merge: Uuid,
    /// Facts of the record that was given up that stand now.
    pub joined: usize,
    pub set_aside: Vec<Named>,
}

/// The two animals of a merge that was taken back; none where a record is another site's.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Apart {
    pub kept: Option<Animal>,
    pub given_up: Option<Animal>,
}

/// A merge that is found to be wrong.
#[derive(Clone, Debug)]
pub struct Wrong {
    pub animal: String,
    pub merge: Uuid,
    pub because: String,
    pub version: i64,
    pub stands: Vec<Stands>,
}

/// Gives one record up for another.
///
/// # Errors
/// Refused without the role; where there is no such animal, another site answers for one of them, one is on the
/// move, a version passed, or the two contradict one another and it is not said what stands.
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
        let merged = link(&mut tx, &permit, asked, None).await?;
        Ok(tx.commit(merged).await?)
    })
    .await
}

/// Gives one record up for another, within a write of the site that answers for both, or for one of them where the
/// site that answers for the other `consents`: it proposed this merge.
///
/// # Errors
/// As [`merge`], but for the role.
pub(super) async fn link(
    tx: &mut Tx,
    permit: &Permit,
    asked: &Asked,
    consents: Option<Uuid>,
) -> Result<Merged> {
    let (keep, gone) = both(tx, permit, &asked.keep, &asked.give_up).await?;
    guard_version("animal that stays", asked.keep_version, keep.version)?;
    guard_version("animal that is given up", asked.give_up_version, gone.version)?;
    if keep.taxon.id != gone.taxon.id {
        let (one, other) = (&keep.taxon.scientific_name, &gone.taxon.scientific_name);
        let say = format!("one is a {one}, the other a {other}");
        return Err(Refusal::new(Reason::MergeConflict, say, "check which animals are meant").into());
    }
    for animal in [&keep, &gone] {
        mistakes::refuse(animal, Reason::MergeConflict)?;
        refuse_other_site(tx, permit, animal, consents).await?;
        refuse_on_the_move(tx, animal).await?;
    }
    let (kept_facts, gone_facts) = (merges::facts(tx, keep.id).await?, merges::facts(tx, gone.id).await?);
    let sides = [(&asked.keep, &kept_facts), (&asked.give_up, &gone_facts)];
    let goes = sides.into_iter().flat_map(|(typed, facts)| goes_by(facts, Some(typed))).collect::<Vec<_>>();
    let facts = [kept_facts, gone_facts].concat();
    let facts_of = Facts::new(&facts, &goes, &asked.stands, &BTreeMap::new());
    let idle = facts_of.idle();
    let plan = facts_of.plan();
    refuse_conflicts(&plan)?;
    refuse_idle(&idle)?;
    refuse_anothers(permit, &plan, consents)?;
    let (set_aside, aside) = (names(&plan, &goes), plan.asides());
    // Of an animal of several records, the one that was named: if the others turn out to be of another animal, this
    // is still what was said.
    let kept = merges::named(tx, keep.id, &asked.keep).await?;
    let new = merges::New { gone: gone.id, kept, because: &asked.because, set_aside: &aside };
    let merge = merges::insert(tx, permit, new).await?;
    count_litters(tx, &aside.keys().copied().collect::<Vec<_>>()).await?;
    animals::bump(tx, gone.id).await?;
    animals::bump(tx, keep.id).await?;
    let of_gone = facts.iter().filter(|fact| fact.uuid("animal_id") == Some(gone.id));
    let joined = of_gone.filter(|fact| !aside.contains_key(&fact.id())).count();
    let animal = view(tx, permit, &keep.label(), tx.now()).await?;
    Ok(Merged { animal, merge, joined, set_aside })
}

/// The two animals that are meant, both locked.
async fn both(tx: &Tx, permit: &Permit, keep: &str, gone: &str) -> Result<(Animal, Animal)> {
    let references = [keep, gone].map(|text| Reference { text: text.to_owned(), at: tx.now() });
    let mut meant = animals::lock(tx, permit, &references, Lock::Change).await?.into_iter();
    let mut one = |text: &str| -> Result<Label> {
        let meant = meant.next().unwrap_or(animals::Meant::Nobody);
        Ok(the_one(meant, text)?)
    };
    let (kept, given_up) = (one(keep)?, one(gone)?);
    // Whoever had the locks before may have linked them: what they stand for is read again, under them.
    if merges::animal_of(tx, kept.id).await? != kept.id
        || merges::animal_of(tx, given_up.id).await? != given_up.id
    {
        return Err(crate::store::Error::Contention.into());
    }
    if kept.id == given_up.id {
        return Err(Refusal::new(
            Reason::MergeConflict,
            format!("`{keep}` and `{gone}` are one animal already: {}", kept.spoken()),
            "name two animals",
        )
        .at("give_up")
        .into());
    }
    Ok((view(tx, permit, &kept, tx.now()).await?, view(tx, permit, &given_up, tx.now()).await?))
}

/// Refuses to say who an animal is where another site answers for it: the one that holds it, or held it last.
async fn refuse_other_site(tx: &Tx, permit: &Permit, animal: &Animal, consents: Option<Uuid>) -> Result<()> {
    let held = holdings::of(tx, &[animal.id]).await?;
    let last = held.iter().max_by_key(|holding| holding.began_at);
    let agreed = |site: Uuid| site == permit.site().id || consents == Some(site);
    if last.is_some_and(|last| agreed(last.site) && last.ended != Some(Ended::Transfer)) {
        return Ok(());
    }
    let other = if animal.holder.is_empty() { &animal.went_to } else { &animal.holder };
    let other = if other.is_empty() { "another site" } else { other };
    Err(Refusal::new(
        Reason::FactOfAnotherSite,
        format!("{other} answers for {}: it holds that animal, or held it last", animal.label().spoken()),
        format!("propose the merge to {other}, or ask its registrar to merge the records"),
    )
    .fact("site", other)
    .into())
}

async fn refuse_on_the_move(tx: &Tx, animal: &Animal) -> Result<()> {
    if transfers::open_of(tx, animal.id).await?.is_none() {
        return Ok(());
    }
    Err(Refusal::new(
        Reason::AnimalOnTheMove,
        format!("{} is on an open transfer", animal.label().spoken()),
        "finish, refuse or cancel that transfer first",
    )
    .into())
}

/// What the records go by of which these facts are; one that was typed is of all of them.
fn goes_by(facts: &[Version], typed: Option<&String>) -> Vec<Goes> {
    let mut goes: Vec<Goes> = Vec::new();
    for fact in facts {
        let record = record(fact);
        let n = goes.iter().position(|goes| goes.record == record).unwrap_or_else(|| {
            goes.push(Goes { record, by: Vec::new() });
            goes.len() - 1
        });
        match (fact.kind, fact.text("number"), fact.text("code")) {
            (FactKind::Accession, Some(number), _) => goes[n].by.insert(0, number.to_owned()),
            (FactKind::Mark, _, Some(code)) => goes[n].by.push(code.to_owned()),
            _ => {}
        }
    }
    for one in &mut goes {
        one.by.push(one.record.to_string());
        one.by.extend(typed.cloned());
    }
    goes
}

/// What a plan sets aside, by name.
fn names(plan: &Plan, goes: &[Goes]) -> Vec<Named> {
    let of = |fact: &Version| {
        goes.iter().find(|goes| goes.record == record(fact)).and_then(|goes| goes.by.first())
    };
    let named =
        |fact: &Version| Named { id: fact.id(), kind: fact.kind, of: of(fact).cloned().unwrap_or_default() };
    plan.set_aside.iter().map(|aside| named(&aside.fact)).collect()
}

/// Refuses what was said to stand and decides nothing.
fn refuse_idle(idle: &[usize]) -> std::result::Result<(), Refusal> {
    if idle.is_empty() {
        return Ok(());
    }
    let violations = idle.iter().map(|n| Violation {
        field: format!("resolve[{n}]"),
        say: "contradicts nothing of the other record".to_owned(),
        mend: "name one of the facts that a merge without it lists, or leave it out".to_owned(),
    });
    Err(Refusal::malformed(violations.collect()))
}

/// Refuses what is not the site's to set aside: what another site recorded, and what stands in two books. A site that
/// consents leaves to the other what is of the animal's life, and what is said twice; its books it keeps.
fn refuse_anothers(permit: &Permit, plan: &Plan, consents: Option<Uuid>) -> std::result::Result<(), Refusal> {
    let newly = || plan.set_aside.iter().filter(|aside| aside.newly);
    let own = |aside: &Aside| {
        let (site, left) = (aside.fact.site(), aside.twice || holder::is_of_its_life(aside.fact.kind));
        site == permit.site().id || (left && consents == Some(site))
    };
    if let Some(aside) = newly().find(|aside| !own(aside)) {
        let kind = aside.fact.kind.spoken();
        return Err(Refusal::new(
            Reason::FactOfAnotherSite,
            format!("the merge would set aside a {kind} that another site recorded"),
            "name this one as the one that stands, or ask the registrar there to correct it first",
        )
        .fact("kind", kind));
    }
    let moved = |fact: &Version| fact.uuid("transfer_in").or(fact.uuid("transfer_out")).is_some();
    if newly().any(|aside| aside.fact.kind == FactKind::Holding && moved(&aside.fact)) {
        return Err(Refusal::new(
            Reason::MergeConflict,
            "a holding that began or ended with a transfer also belongs to the other site",
            "name this holding as the one that stands, or correct the other record",
        ));
    }
    Ok(())
}

/// Lists what contradicts one another, with the facts by which to say what stands.
fn refuse_conflicts(plan: &Plan) -> std::result::Result<(), Refusal> {
    let conflicts = &plan.conflicts;
    if conflicts.is_empty() {
        return Ok(());
    }
    let listed = &conflicts[..conflicts.len().min(MOST_CONFLICTS)];
    let mut all = listed.iter().map(|conflict| conflict.say.clone()).collect::<Vec<_>>();
    all.dedup();
    if conflicts.len() > listed.len() {
        all.push(format!("and {} more", conflicts.len() - listed.len()));
    }
    let refusal = Refusal::new(
        Reason::MergeConflict,
        format!("the two records cannot be of one animal: {}", all.join("; ")),
        "for each, name the fact that stands, or correct what is wrong first",
    )
    .fact("conflicts", json!(listed).to_string());
    Err(listed.iter().enumerate().fold(refusal, |mut refusal, (n, conflict)| {
        let [one, other] = &conflict.facts;
        let spoken = |fact: &Named| format!("the {} of {} ({})", fact.kind.spoken(), fact.of, fact.id);
        refusal.at.push(Violation {
            field: format!("resolve[{n}]"),
            say: conflict.say.clone(),
            mend: format!("{} or {} stands", spoken(one), spoken(other)),
        });
        refusal
    }))
}

/// Counts the litters of these facts again: a young that was told apart twice is in one of them again, and is not
/// when the link ends.
async fn count_litters(tx: &mut Tx, facts: &[Uuid]) -> Result<()> {
    for litter in merges::litters(tx, facts).await? {
        litters::bump(tx, litter).await?;
        if !merges::litter_holds_out(tx, litter).await? {
            return Err(Refusal::new(
                Reason::MergeConflict,
                "the litter has no animal remaining that this could be: all were identified or died since",
                "correct the count of the litter first",
            )
            .fact("litter", litter.to_string())
            .into());
        }
    }
    Ok(())
}

/// Takes a merge back. Each record has again what was entered for it, and what was recorded meanwhile is with the
/// record under which the animal was held then.
///
/// # Errors
/// Refused without the role; where there is no such animal or merge, another site answers for it, the version
/// passed, or records that stay linked contradict one another without it and it is not said what stands.
pub async fn unmerge(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    wrong: &Wrong,
) -> Result<Apart> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("unmerge_animals", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_locked(&tx, &permit, &wrong.animal, tx.now(), Lock::Change).await?;
        let animal = view(&tx, &permit, &label, tx.now()).await?;
        guard_version("animal", wrong.version, animal.version)?;
        let unknown = || Refusal::not_found("merge that stands", &wrong.merge.to_string());
        let link = merges::standing(&tx, animal.id, wrong.merge).await?.ok_or_else(unknown)?;
        part(&mut tx, &permit, &animal, &link, (&wrong.because, &wrong.stands)).await?;
        let apart = Apart {
            kept: seen(&tx, &permit, animal.id).await?,
            given_up: seen(&tx, &permit, link.animal_id).await?,
        };
        Ok(tx.commit(apart).await?)
    })
    .await
}

/// Ends a link between records of an animal, within a write of the site that answers for it. Where records that stay
/// linked contradict one another without it, it is said what `stands`.
///
/// # Errors
/// As [`unmerge`], but for the role and the version.
pub(super) async fn part(
    tx: &mut Tx,
    permit: &Permit,
    animal: &Animal,
    link: &Link,
    (because, stands): (&str, &[Stands]),
) -> Result<()> {
    refuse_other_site(tx, permit, animal, None).await?;
    refuse_on_the_move(tx, animal).await?;
    let why = format!("the merge was wrong: {because}");
    let death = corrections::standing(tx, animal.id, FactKind::Death).await?.pop();
    merges::end(tx, link, &why).await?;
    // A record that was another site's is out of sight again, and what stands of it is that site's to say.
    let in_sight = [seen(tx, permit, animal.id).await?, seen(tx, permit, link.animal_id).await?];
    for id in in_sight.iter().flatten().map(|animal| animal.id) {
        if let Some(death) = &death {
            lives::survive(tx, id, death, &why).await?;
        }
        // What was set aside for a record that is of another animal now may be all that is known of this one.
        let before = merges::asides(tx, id).await?;
        let mut facts = [merges::facts(tx, id).await?, merges::aside(tx, id).await?].concat();
        // Holdings are settled before what goes with them.
        facts.sort_by_key(|fact| fact.kind);
        let goes = goes_by(&facts, None);
        let plan = Facts::new(&facts, &goes, stands, &before).again(&link.set_aside).plan();
        refuse_conflicts(&plan)?;
        refuse_anothers(permit, &plan, None)?;
        let only = plan.asides();
        let changed: Vec<Uuid> =
            facts.iter().map(Version::id).filter(|fact| before.get(fact) != only.get(fact)).collect();
        if !changed.is_empty() {
            if !merges::set_aside_only(tx, permit, id, &only, &why).await? {
                let say =
                    "without this merge, records that another site merged contradict what was recorded since";
                let mend = "correct what contradicts first, or ask that site to withdraw its merge";
                return Err(Refusal::new(Reason::MergeConflict, say, mend).at("merge_id").into());
            }
            count_litters(tx, &changed).await?;
        }
        lives::end_what_outlived(tx, id, &why).await?;
        animals::bump(tx, id).await?;
    }
    count_litters(tx, &link.set_aside).await
}

/// An animal, where the site may see it.
async fn seen(tx: &Tx, permit: &Permit, id: Uuid) -> Result<Option<Animal>> {
    Ok(animals::views(tx, &[id], lens_of(permit.site(), None, tx.now())).await?.pop())
}
