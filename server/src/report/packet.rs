//! The packet of a transfer: what the sender knows of an animal, for the destination to read before it agrees.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Animal;
use crate::model::check::{Check, Scope};
use crate::model::concern::Concern;
use crate::model::fact::{FactKind, Told};
use crate::model::feeding::Plan;
use crate::model::life_state::LifeState;
use crate::model::packet::Receiving;
use crate::model::page::Page;
use crate::model::reason::Reason;
use crate::model::site::Site;
use crate::model::standing::{Member, Pushed};
use crate::model::transfer::{State, Transfer};
use crate::model::upset::Upset;
use crate::model::weight::Weight;
use crate::records::ancestry::Ancestry;
use crate::records::animals::lens_of;
use crate::records::assessments::{self, Judged};
use crate::records::error::{Refusal, Result};
use crate::records::{
    Records, animals, checks, concerns, groups, history, kinship, life_states, transfers, weights,
};
use crate::report::{feeding, standing};
use crate::store::{Snapshot, animals as views, groups as memberships, partners, upsets};
use chrono::{DateTime, Days, Utc};
use holt_audit::kinship::Bounded;
use std::collections::BTreeSet;
use uuid::Uuid;

/// Days of readings that go with an animal.
const DAYS: u64 = 365;
const READINGS: u32 = 60;
const FACTS: u32 = 500;
const UPSETS: u32 = 20;
const ASSESSMENTS: u32 = 50;
const RECEIVING: usize = 100;

/// What a packet is and is not; printed wherever one is read.
pub const CAUTION: &str = "Holt shows what is on record. It is not a diagnosis and does not replace your \
    vet, your licence or \
     local law.";

/// What the sender knows of an animal that is to move.
#[derive(Clone, Debug)]
pub struct Packet {
    pub transfer: Transfer,
    pub animal: Animal,
    pub life: Vec<Told>,
    pub more_life: bool,
    pub inbreeding: Bounded,
    pub assumption: String,
    pub weights: Vec<Weight>,
    pub concerns: Vec<Concern>,
    pub states: Vec<LifeState>,
    pub social: Option<Social>,
    pub upsets: Vec<Upset>,
    pub checks: Vec<Check>,
    pub assessments: Vec<Judged>,
    pub receiving: Vec<Receiving>,
}

/// The group that an animal is to leave.
#[derive(Clone, Debug)]
pub struct Social {
    pub group: String,
    pub plan: Option<Plan>,
    pub standing: Option<Member>,
    pub exclusion: Option<Pushed>,
    pub hours: f64,
}

/// The packet of a transfer that is open.
///
/// # Errors
/// Refused where the caller reads at neither site, or the transfer is over.
pub async fn of(records: &Records, caller: &Caller, id: Uuid) -> Result<Packet> {
    let now = records.store.now();
    let transfer = transfers::get(records, caller, id, Some(now)).await?;
    if !transfer.state.is_open() {
        let say = format!("the transfer is {}", transfer.state.spoken());
        let mend = "ask for the packet of an open transfer; the holder of the animal reads its record";
        let refusal =
            Refusal::new(Reason::TransferWrongState, say, mend).fact("state", transfer.state.name());
        return Err(refusal.at("transfer_id").into());
    }
    let (from, to) = (records.site(&transfer.from_site).await?, records.site(&transfer.to_site).await?);
    // By proposing it, the sender lets people of either site read what its own auditor reads of this animal.
    let guest = caller.guest_of(from.id);
    let permit = records.permit(&guest, Deed::Read, &from.code).await?;
    let reference = transfer.animal.to_string();
    let (site, known_at) = (from.code.clone(), Some(now));
    let animal = animals::get(records, &guest, &site, &reference, None, known_at).await?;
    let asked = history::Asked { site: site.clone(), animal: reference.clone(), known_at, since: None };
    let facts = history::get(records, &guest, &asked, &Page { size: FACTS, after: None }).await?.facts;
    let (more_life, mut life) = (facts.next.is_some(), facts.entries);
    life.retain(|fact| {
        let elsewhere = matches!(fact.kind, FactKind::Weight | FactKind::Assessment);
        fact.superseded.is_none() && !fact.set_aside && !elsewhere
    });
    let family = kinship::family(records, &guest, &site, &reference, 1, known_at).await?;
    let today = from.day_of(now);
    let days = Some((today.checked_sub_days(Days::new(DAYS)).unwrap_or(today), today));
    let asked = weights::Asked { site: site.clone(), animal: reference.clone(), days, known_at };
    let weights =
        weights::list(records, &guest, &asked, &Page { size: READINGS, after: None }).await?.entries;
    let concerns = concerns::list(records, &guest, &site, &reference, false, known_at).await?;
    let asked = life_states::Asked {
        site: site.clone(),
        animal: reference.clone(),
        as_of: None,
        also_ended: false,
        known_at,
    };
    let states =
        life_states::list(records, &guest, &asked, &Page { size: READINGS, after: None }).await?.entries;
    let asked = weights::Asked { site: site.clone(), animal: reference, days: None, known_at };
    let mut assessments =
        assessments::list(records, &guest, &asked, &Page { size: ASSESSMENTS, after: None }).await?.entries;
    let mut protocols = BTreeSet::new();
    assessments.retain(|one| protocols.insert(one.assessment.protocol.clone()));
    let snapshot = records.look(&guest, known_at).await?;
    let social = social(records, &guest, (&snapshot, &permit), animal.id, now).await?;
    let mut checks = checks::list(records, &guest, &from.code, known_at).await?;
    let group = social.as_ref().map(|social| social.group.as_str());
    checks.retain(|check| {
        check.ends_on.is_none_or(|last| last >= today)
            && match &check.scope {
                Scope::Animal(of) => *of == animal.accession,
                Scope::Taxon(of) => *of == animal.taxon.scientific_name,
                Scope::Group(of) => Some(of.as_str()) == group,
                Scope::Enclosure(_) | Scope::WholeSite => false,
            }
    });
    let packet = Packet {
        receiving: receiving(records, caller, (&from, &to), &transfer, &animal, now).await?,
        upsets: upsets_of(&snapshot, &permit, animal.id).await?,
        transfer,
        animal,
        life,
        more_life,
        inbreeding: family.inbreeding,
        assumption: family.assumption,
        weights,
        concerns,
        states,
        social,
        checks,
        assessments,
    };
    Ok(packet.without_people())
}

/// The group in which it lives, as that site sees it.
async fn social(
    records: &Records,
    guest: &Caller,
    (snapshot, permit): (&Snapshot, &Permit),
    animal: Uuid,
    now: DateTime<Utc>,
) -> Result<Option<Social>> {
    let site = permit.site();
    let members = memberships::all_members(snapshot, permit, now).await?;
    let Some((_, group, _)) = members.into_iter().find(|(_, _, member)| *member == animal) else {
        return Ok(None);
    };
    let lens = lens_of(site, None, now);
    let of_feeding = groups::one(snapshot, permit, &group, lens).await?;
    let plan = feeding::plan_on(snapshot, permit, &of_feeding, lens.day).await?;
    let question =
        standing::Question { site: site.code.clone(), group: group.clone(), days: None, known_at: Some(now) };
    let told = standing::of(records, guest, &question).await?;
    let watched = told.hours > 0.0;
    Ok(Some(Social {
        group,
        plan,
        standing: told.members.into_iter().find(|member| watched && member.animal.id == animal),
        exclusion: told.pushed_out.into_iter().find(|one| watched && one.animal.id == animal),
        hours: told.hours,
    }))
}

/// Upsets in which it was; who else was in them is not told.
async fn upsets_of(snapshot: &Snapshot, permit: &Permit, animal: Uuid) -> Result<Vec<Upset>> {
    let wanted = upsets::Wanted { animal: Some(animal), ..upsets::Wanted::default() };
    let found = upsets::list(snapshot, permit, &wanted, &Page { size: UPSETS, after: None }).await?;
    let mut upsets = found.entries;
    upsets.iter_mut().for_each(|upset| upset.animals.retain(|one| one.id == animal));
    Ok(upsets)
}

/// The living of its species at the destination.
async fn receiving(
    records: &Records,
    caller: &Caller,
    (from, to): (&Site, &Site),
    transfer: &Transfer,
    animal: &Animal,
    now: DateTime<Utc>,
) -> Result<Vec<Receiving>> {
    let theirs = caller.may(Deed::Read, to).ok();
    // How close they are is worked out by Holt itself, as in a search for partners: neither site sees the
    // other's ancestors.
    let snapshot = records.oversee(caller, Deed::Read, Some(now)).await?;
    let shows = || async {
        let terms = partners::terms(&snapshot, from.id).await?;
        Ok::<_, crate::store::Error>(terms.iter().any(|terms| terms.site == to.code && terms.shows_cards))
    };
    if theirs.is_none() && transfer.state == State::Proposed && !shows().await? {
        return Ok(Vec::new());
    }
    let mut living = partners::living(&snapshot, animal.taxon.id, to.id, now).await?;
    living.retain(|one| one.site == to.id && one.animal != animal.id);
    let ids: Vec<Uuid> = living.iter().map(|one| one.animal).collect();
    let asked: Vec<Uuid> = ids.iter().copied().chain([animal.id]).collect();
    let ancestry = Ancestry::of_species(&snapshot, &asked).await?;
    let row = ancestry.relationships().kinships(&animal.id);
    let named = match &theirs {
        Some(permit) => {
            let own = records.store.read(permit, Some(now)).await?;
            views::views(&own, &ids, lens_of(to, None, now)).await?
        }
        None => Vec::new(),
    };
    let today = to.day_of(now);
    let mut receiving: Vec<Receiving> = living
        .into_iter()
        .filter_map(|one| {
            let figure = row.as_ref()?.get(&one.animal)?;
            let seen = named.iter().find(|view| view.id == one.animal);
            Some(Receiving {
                animal: seen.map(Animal::label),
                sex: one.sex,
                age_years: one.born.and_then(|(_, last)| today.years_since(last)),
                kinship: figure.value,
                known: figure.known,
                enclosure: seen.map(|view| view.enclosure.clone()).unwrap_or_default(),
            })
        })
        .collect();
    receiving.sort_by(|a, b| b.kinship.total_cmp(&a.kinship));
    receiving.truncate(RECEIVING);
    Ok(receiving)
}

impl Packet {
    /// Who works at the sender is nobody's business.
    fn without_people(mut self) -> Self {
        self.life.iter_mut().for_each(|fact| fact.recorded_by.clear());
        self.concerns.iter_mut().for_each(|concern| concern.taken_up_by.clear());
        self.states.iter_mut().for_each(|state| state.recorder.clear());
        self.upsets.iter_mut().for_each(|upset| upset.recorder.clear());
        self.assessments.iter_mut().for_each(|one| one.assessment.observer.clear());
        self
    }
}
