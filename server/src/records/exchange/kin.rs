//! Parents of animals that are taken in: among those taken in with them, or on record.

use super::{Intake, Taxa, wrong};
use crate::access::permit::Permit;
use crate::model::animal::{Animal, Status};
use crate::model::death::Gone;
use crate::model::exchange::{Life, Parentage};
use crate::model::holding::{Began, Ended};
use crate::model::mark::MarkKind;
use crate::model::reason::Reason;
use crate::records::error::{Refusal, Result};
use crate::records::parents::{Birth, Candidate};
use crate::records::the_one;
use crate::store::animals::{self, Lens, Parent, Reference};
use crate::store::exchange::NewLife;
use crate::store::{Tx, holdings};
use holt_audit::terms::Sex;
use std::collections::{BTreeMap, HashMap, HashSet};
use uuid::Uuid;

/// What a life goes by, in small letters.
fn names(life: &Life) -> Vec<String> {
    let marks =
        life.marks.iter().filter(|worn| !matches!(worn.mark.kind, MarkKind::Natural | MarkKind::EarNotch));
    let marks = marks.map(|worn| worn.mark.code.to_lowercase());
    let id = life.id.map(|id| id.to_string());
    let accession = Some(life.accession.to_lowercase()).filter(|accession| !accession.is_empty());
    id.into_iter().chain(accession).chain(marks).collect()
}

/// Finds the parents of all lives that are ready, and refuses those that cannot be.
pub(super) async fn find(
    intake: &mut Intake<'_>,
    tx: &Tx,
    permit: &Permit,
    taxa: &Taxa,
    ready: &mut BTreeMap<usize, NewLife>,
) -> Result<()> {
    let mut here: HashMap<String, Vec<usize>> = HashMap::new();
    for (n, life) in intake.lives.iter().enumerate().filter_map(|(n, life)| Some((n, (*life)?))) {
        for name in names(life) {
            let bearers = here.entry(name).or_default();
            if !bearers.contains(&n) {
                bearers.push(n);
            }
        }
    }
    let recorded = Recorded::of(intake, tx, permit, &here, ready).await?;
    let mut found: Vec<(usize, Vec<Parent>)> = Vec::new();
    let mut refused = Vec::new();
    for (&n, new) in ready.iter() {
        let Some(life) = intake.lives[n] else { continue };
        let Some(taxon) = taxa.get(&life.taxon) else { continue };
        let mut parents: Vec<Parent> = Vec::new();
        for (p, parentage) in life.parents.iter().enumerate() {
            let field = format!("parents[{p}].animal");
            let name = parentage.animal.to_lowercase();
            let candidate = match here.get(&name).map(Vec::as_slice) {
                Some([one]) if on_record(intake, *one) => {
                    recorded.of_id(intake, *one, parentage).map_err(|refusal| refusal.at(&field))
                }
                Some([one]) => among(intake, ready, taxa, *one).ok_or_else(|| {
                    wrong(
                        Reason::NotFound,
                        &field,
                        "this parent is itself refused",
                        "correct the parent first",
                    )
                }),
                Some(_) => {
                    let say = format!("`{}` could be several animals of the request", parentage.animal);
                    Err(wrong(Reason::AmbiguousAnimal, &field, say, "name it by its number"))
                }
                None => recorded.candidate(parentage).map_err(|refusal| refusal.at(&field)),
            };
            let birth = Birth {
                taxon,
                days: life.born.map(|born| (born.first, born.last)),
                here: new.stays.first().is_some_and(|stay| stay.how == Began::Birth),
                because: &parentage.because,
            };
            let fit = candidate.and_then(|candidate| {
                candidate.fit(permit, parentage.sex, &birth, &field, "say why under `because`")
            });
            match fit {
                Ok(parent) if parent.id == new.animal => {
                    let say = "an animal cannot be its own parent";
                    refused.push((
                        n,
                        wrong(Reason::ParentDoesNotFit, field, say, "check which animal is meant"),
                    ));
                }
                Ok(parent)
                    if parents.iter().any(|other| other.id == parent.id && other.sex == parent.sex) =>
                {
                    refused.push((n, wrong(Reason::Exists, field, "the same parent twice", "name it once")));
                }
                // Why it is right is kept where it was said, also where the records now bear it out.
                Ok(parent) => {
                    let (because, known) = (parentage.because.clone(), parentage.known.clone());
                    parents.push(Parent { share: parentage.share, because, known, ..parent });
                }
                Err(refusal) => refused.push((n, refusal)),
            }
        }
        if parents.iter().filter(|parent| parent.sex == Sex::Female).count() > 1 {
            refused.push((n, wrong(Reason::Exists, "parents", "two dams are named", "name one dam")));
        }
        found.push((n, parents));
    }
    for n in in_a_circle(ready, &found) {
        let say = "by the parents given it is its own ancestor";
        refused.push((n, wrong(Reason::ParentDoesNotFit, "parents", say, "check which animals are meant")));
    }
    for (n, parents) in found {
        if let Some(new) = ready.get_mut(&n) {
            new.parents = parents;
        }
    }
    for (n, refusal) in refused {
        intake.wrong(n, refusal);
    }
    Ok(())
}

/// Whether an animal of the request is on record already.
fn on_record(intake: &Intake<'_>, n: usize) -> bool {
    intake.identities.get(n).is_some_and(|identity| identity.on_record.is_some())
}

/// An animal of the request as a parent; none where it is refused itself.
fn among(intake: &Intake<'_>, ready: &BTreeMap<usize, NewLife>, taxa: &Taxa, n: usize) -> Option<Candidate> {
    let life = intake.lives[n]?;
    let id = intake.identities.get(n)?.animal;
    let taxon = taxa.get(&life.taxon)?;
    let stays = ready.get(&n).map(|new| new.stays.as_slice()).unwrap_or_default();
    let died = stays.iter().filter_map(|stay| stay.end.as_ref()).find(|end| end.death.is_some());
    let name = life.marks.iter().find(|worn| worn.mark.kind == MarkKind::HouseName);
    Some(Candidate {
        id,
        spoken: name
            .map_or_else(|| format!("animal {} of the request", n + 1), |name| name.mark.code.clone()),
        sex: life.sexes.last().map_or(Sex::Unknown, |(_, sex)| *sex),
        taxon: taxon.clone(),
        born: life.born,
        gone: died.map(|end| Gone { on: end.on, died_then: true }),
        held_here: stays.iter().map(|stay| (stay.began_on, stay.end.as_ref().map(|end| end.on))).collect(),
    })
}

/// Animals that are their own ancestors by the parents found.
fn in_a_circle(ready: &BTreeMap<usize, NewLife>, found: &[(usize, Vec<Parent>)]) -> Vec<usize> {
    let numbers: HashMap<Uuid, usize> = ready.iter().map(|(n, new)| (new.animal, *n)).collect();
    let mut left: HashMap<usize, HashSet<usize>> = found
        .iter()
        .map(|(n, parents)| {
            (*n, parents.iter().filter_map(|parent| numbers.get(&parent.id).copied()).collect())
        })
        .collect();
    // Takes away, again and again, those whose parents are all settled.
    loop {
        let settled: Vec<usize> = left
            .iter()
            .filter(|(_, parents)| parents.iter().all(|parent| !left.contains_key(parent)))
            .map(|(n, _)| *n)
            .collect();
        if settled.is_empty() {
            break;
        }
        for n in settled {
            left.remove(&n);
        }
    }
    let mut circle: Vec<usize> = left.into_keys().collect();
    circle.sort_unstable();
    circle
}

/// Parents that are on record, by the reference that names them.
struct Recorded {
    meant: HashMap<String, std::result::Result<Uuid, Refusal>>,
    candidates: HashMap<Uuid, Candidate>,
}

impl Recorded {
    async fn of(
        intake: &Intake<'_>,
        tx: &Tx,
        permit: &Permit,
        here: &HashMap<String, Vec<usize>>,
        ready: &BTreeMap<usize, NewLife>,
    ) -> Result<Self> {
        let lives = ready.keys().filter_map(|n| intake.lives[*n]);
        let named: HashSet<&String> =
            lives.flat_map(|life| &life.parents).map(|parent| &parent.animal).collect();
        let mut texts: Vec<String> = Vec::new();
        let mut ids: Vec<Uuid> = Vec::new();
        for text in named {
            match here.get(&text.to_lowercase()).map(Vec::as_slice) {
                None => texts.push(text.clone()),
                Some([one]) if on_record(intake, *one) => ids.push(intake.identities[*one].animal),
                Some(_) => {}
            }
        }
        let references: Vec<Reference> =
            texts.iter().map(|text| Reference { text: text.clone(), at: tx.now() }).collect();
        let meant = animals::resolve(tx, Some(permit), &references).await?;
        let meant: HashMap<_, _> = texts
            .into_iter()
            .zip(meant)
            .map(|(text, meant)| {
                let one = the_one(meant, &text).map(|label| label.id);
                (text, one)
            })
            .collect();
        ids.extend(meant.values().filter_map(|one| one.as_ref().ok().copied()));
        ids.sort_unstable();
        ids.dedup();
        let lens = Lens { site: Some(permit.site().id), at: tx.now(), day: permit.site().day_of(tx.now()) };
        let held = holdings::of(tx, &ids).await?;
        // Whoever never was is nobody's parent.
        let views = animals::views(tx, &ids, lens).await?.into_iter();
        let were = views.filter(|animal| animal.status != Status::Mistake);
        let candidates = were.map(|animal: Animal| {
            let own = || held.iter().filter(|holding| holding.animal == animal.id);
            let died = own().find(|holding| holding.ended == Some(Ended::Death));
            let candidate = Candidate {
                id: animal.id,
                spoken: animal.label().spoken(),
                sex: animal.sex,
                born: animal.born,
                gone: died.and_then(|holding| holding.ended_on).map(|on| Gone { on, died_then: true }),
                held_here: own()
                    .filter(|holding| holding.site == permit.site().id)
                    .map(|holding| (holding.began_on, holding.ended_on))
                    .collect(),
                taxon: animal.taxon,
            };
            (animal.id, candidate)
        });
        Ok(Self { candidates: candidates.collect(), meant })
    }

    /// An animal of the request that is on record.
    fn of_id(
        &self,
        intake: &Intake<'_>,
        n: usize,
        parentage: &Parentage,
    ) -> std::result::Result<Candidate, Refusal> {
        let found = self.candidates.get(&intake.identities[n].animal);
        found.cloned().ok_or_else(|| Refusal::not_found("animal", &parentage.animal))
    }

    fn candidate(&self, parentage: &Parentage) -> std::result::Result<Candidate, Refusal> {
        let unknown = || Refusal::not_found("animal", &parentage.animal);
        let id = self.meant.get(&parentage.animal).cloned().unwrap_or_else(|| Err(unknown()))?;
        self.candidates.get(&id).cloned().ok_or_else(unknown)
    }
}
