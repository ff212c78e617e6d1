//! Exchange: whole lives taken in, all or none, and given out.
//!
//! What is taken in was judged when it was written down first, on other books: it is held against what cannot
//! be (days, transponders, parents), and no reading is asked for again. What the readings say of an animal as it
//! stands now is raised once, at the end.

mod days;
mod identity;
mod kin;
mod marks;
mod places;

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::exchange::{Answer, Flaw, Life, TakenIn};
use crate::model::mark::MarkKind;
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::taxon::Taxon;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, animals, fresh, weights};
use crate::store::exchange::{self, NewLife};
use crate::store::titles::Owner;
use crate::store::weights::NewWeight;
use crate::store::{Tx, accessions, retrying};
use chrono::{DateTime, Utc};
use identity::Identity;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// The lives of animals that a site ever held, as known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn lives(
    records: &Records,
    caller: &Caller,
    site: &str,
    known_at: DateTime<Utc>,
    page: &Page,
) -> Result<Slice<Life>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, Some(known_at)).await?;
    Ok(exchange::lives(&snapshot, &permit, page).await?)
}

/// Takes animals in, each well-formed or with what is wrong with its form: all of them or none.
///
/// # Errors
/// Refused as a whole without the role there, or where a transponder is in force on an animal that the caller
/// may not see; what is wrong with single animals is in their answers.
pub async fn take_in(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    lives: &[std::result::Result<Life, Vec<Flaw>>],
) -> Result<TakenIn> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    let owners = owners(records, &permit, lives).await?;
    retrying("take_in_lives", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let mut intake = Intake::of(lives);
        let ready = match intake.ready(&mut tx, &permit, &owners).await? {
            Some(ready) if !ready.is_empty() => ready,
            // Something is wrong, or all is on record: the transaction ends without a trace.
            _ => return Ok(intake.unwritten()),
        };
        let only = request.validate_only;
        let weighed = weighed(&ready);
        let answers = intake.write(&mut tx, &permit, ready).await?;
        let animals = labelled(&answers, &weighed);
        let concerns = weights::watch_again(records, &mut tx, &permit, &animals).await?;
        let taken = TakenIn {
            written: !only && answers.iter().any(|answer| matches!(answer, Answer::TakenIn { .. })),
            answers: if only { intake.answers() } else { answers },
            taxa_added: intake.taxa_added,
            enclosures_added: intake.enclosures_added,
            concerns,
        };
        Ok(tx.commit(taken).await?)
    })
    .await
}

/// Animals that were weighed, with the house name that they go by.
fn weighed(ready: &BTreeMap<usize, NewLife>) -> HashMap<Uuid, String> {
    let name = |life: &NewLife| {
        let mut worn = life.marks.iter().filter(|worn| worn.ended_at.is_none());
        worn.find(|worn| worn.mark.kind == MarkKind::HouseName)
            .map(|worn| worn.mark.code.clone())
            .unwrap_or_default()
    };
    let of_scale = |life: &&NewLife| !life.readings.is_empty();
    ready.values().filter(of_scale).map(|life| (life.animal, name(life))).collect()
}

/// Those of them that were taken in.
fn labelled(answers: &[Answer], weighed: &HashMap<Uuid, String>) -> Vec<Label> {
    let taken_in = answers.iter().filter_map(|answer| match answer {
        Answer::TakenIn { animal, accession } => Some((*animal, accession)),
        _ => None,
    });
    taken_in
        .filter_map(|(id, accession)| {
            let house_name = weighed.get(&id)?.clone();
            Some(Label { id, accession: accession.clone(), house_name })
        })
        .collect()
}

/// Who owns the animals, by what is written of it.
async fn owners(
    records: &Records,
    permit: &Permit,
    lives: &[std::result::Result<Life, Vec<Flaw>>],
) -> Result<HashMap<String, Owner>> {
    let mut owners = HashMap::new();
    for life in lives.iter().flatten() {
        if !owners.contains_key(&life.owner) {
            let owner = animals::owner(records, permit, &life.owner).await?;
            owners.insert(life.owner.clone(), owner);
        }
    }
    Ok(owners)
}

/// Animals on their way in: what is known of each, and all that is wrong with it.
struct Intake<'a> {
    lives: Vec<Option<&'a Life>>,
    flaws: Vec<Vec<Flaw>>,
    /// Each animal's identifier, and its accession where it is on record.
    identities: Vec<Identity>,
    taxa_added: Vec<String>,
    enclosures_added: Vec<String>,
}

impl<'a> Intake<'a> {
    fn of(lives: &'a [std::result::Result<Life, Vec<Flaw>>]) -> Self {
        Self {
            flaws: lives.iter().map(|life| life.as_ref().err().cloned().unwrap_or_default()).collect(),
            lives: lives.iter().map(|life| life.as_ref().ok()).collect(),
            identities: Vec::new(),
            taxa_added: Vec::new(),
            enclosures_added: Vec::new(),
        }
    }

    fn wrong(&mut self, n: usize, refusal: Refusal) {
        let field = refusal.at.first().map(|at| at.field.clone()).unwrap_or_default();
        let Refusal { reason, say, mend, .. } = refusal;
        self.flaws[n].push(Flaw { reason, field, say, mend });
    }

    /// The animals that are to be written: well-formed, and not on record.
    fn new_ones(&self) -> Vec<(usize, &'a Life)> {
        let fresh = |n: &usize| self.identities.get(*n).is_none_or(|identity| identity.on_record.is_none());
        let all = self.lives.iter().enumerate().filter_map(|(n, life)| Some((n, (*life)?)));
        all.filter(|(n, _)| fresh(n)).collect()
    }

    /// What is to be written; nothing where anything is wrong.
    async fn ready(
        &mut self,
        tx: &mut Tx,
        permit: &Permit,
        owners: &HashMap<String, Owner>,
    ) -> Result<Option<BTreeMap<usize, NewLife>>> {
        let taxa = places::taxa(self, tx).await?;
        identity::find(self, tx, permit, &taxa).await?;
        let enclosures = places::enclosures(self, tx, permit).await?;
        let mut ready = BTreeMap::new();
        for (n, life) in self.new_ones() {
            let Some(taxon) = taxa.get(&life.taxon) else { continue };
            let (times, wrong) = days::of(permit.site(), life, tx.now());
            for refusal in wrong {
                self.wrong(n, refusal);
            }
            let Some(times) = times else { continue };
            let owner = owners.get(&life.owner).cloned().unwrap_or(Owner::Site(permit.site().id));
            let readings = times.readings.iter().zip(&life.readings).map(|(time, weighed)| NewWeight {
                id: tx.new_id(),
                animal: self.identities[n].animal,
                weighed_at: time.at,
                weighed_on: time.on,
                day_only: time.day_only,
                mass: time.mass,
                doubtful: weighed.doubtful,
                scale: weighed.reading.scale.clone(),
                method: weighed.reading.method,
                note: weighed.reading.note.clone(),
            });
            let new = NewLife {
                animal: self.identities[n].animal,
                taxon: taxon.id,
                accession: life.accession.clone(),
                taken_on: times.first_on,
                born: life.born,
                sexes: times.sexes,
                parents: Vec::new(),
                marks: times.marks,
                placements: places::placed(&enclosures, life, times.placements),
                owner,
                owned: times.owned,
                readings: readings.collect(),
                stays: times.stays,
            };
            ready.insert(n, new);
        }
        marks::refuse_in_use(self, tx, permit, &ready).await?;
        kin::find(self, tx, permit, &taxa, &mut ready).await?;
        Ok(self.flaws.iter().all(Vec::is_empty).then_some(ready))
    }

    /// Writes them, each under its accession.
    async fn write(
        &self,
        tx: &mut Tx,
        permit: &Permit,
        ready: BTreeMap<usize, NewLife>,
    ) -> Result<Vec<Answer>> {
        let (order, mut new): (Vec<usize>, Vec<NewLife>) = ready.into_iter().unzip();
        let wanted: Vec<_> = new.iter().map(|life| (life.accession.clone(), life.taken_on)).collect();
        let numbers = accessions::reserve(tx, permit, &wanted).await?;
        for (life, number) in new.iter_mut().zip(numbers) {
            life.accession = number;
        }
        let mut taken: BTreeMap<usize, Answer> = order
            .into_iter()
            .zip(&new)
            .map(|(n, life)| (n, Answer::TakenIn { animal: life.animal, accession: life.accession.clone() }))
            .collect();
        exchange::insert(tx, permit, new).await?;
        let answer = |(n, identity): (usize, &Identity)| {
            taken.remove(&n).unwrap_or_else(|| Answer::OnRecord {
                animal: identity.animal,
                accession: identity.on_record.clone().unwrap_or_default(),
            })
        };
        Ok(self.identities.iter().enumerate().map(answer).collect())
    }

    /// What became of them where nothing is written.
    fn unwritten(self) -> TakenIn {
        let answers = self.answers();
        TakenIn {
            answers,
            written: false,
            taxa_added: Vec::new(),
            enclosures_added: Vec::new(),
            concerns: Vec::new(),
        }
    }

    /// The answers where nothing is written.
    fn answers(&self) -> Vec<Answer> {
        let answer = |(n, flaws): (usize, &Vec<Flaw>)| match self.identities.get(n) {
            _ if !flaws.is_empty() => Answer::Refused(flaws.clone()),
            Some(Identity { animal, on_record: Some(accession) }) => {
                Answer::OnRecord { animal: *animal, accession: accession.clone() }
            }
            _ => Answer::Sound,
        };
        self.flaws.iter().enumerate().map(answer).collect()
    }
}

/// A refusal about one field of a life.
fn wrong(reason: Reason, field: impl Into<String>, say: impl Into<String>, mend: &str) -> Refusal {
    Refusal::new(reason, say, mend).at(field)
}

/// Species by scientific name.
type Taxa = HashMap<String, Taxon>;

/// Enclosures by name in small letters.
type Enclosures = HashMap<String, Uuid>;
