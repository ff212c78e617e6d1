//! How varied what a group was offered is, and a rota for the days to come.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::enrichment::{
    Account, Company, GroupRota, Item, Offer, Rota, Slot, Standing, Variety, whole,
};
use crate::model::group::Group;
use crate::records::animals::lens_of;
use crate::records::error::Result;
use crate::records::{Records, groups};
use crate::report::feeding::plan_on;
use crate::store::Snapshot;
use crate::store::animals::Lens;
use crate::store::enrichment::{self, Wanted};
use chrono::{DateTime, Days, NaiveDate, Utc};
use holt_audit::diversity::diversity;
use holt_audit::enrichment::plan::{Task, plan};
use holt_audit::enrichment::wear::{Use, wear};
use holt_audit::enrichment::{self as audit, Kind};
use holt_audit::standing::rates;
use std::collections::HashMap;
use uuid::Uuid;

/// Days over which offers are looked at for wear and rest, the day itself included: half a year.
const MEMORY: u64 = 182;

/// Which group, and over which days.
#[derive(Clone, Debug)]
pub struct Question {
    pub site: String,
    pub group: String,
    /// Today where none.
    pub as_of: Option<NaiveDate>,
    /// Days over which variety is told, that day included.
    pub days: u64,
    pub known_at: Option<DateTime<Utc>>,
}

/// What a group was offered, how varied that is, and how each item stands.
///
/// # Errors
/// Refused where there is no such site in scope, or it has no such group.
pub async fn of_group(records: &Records, caller: &Caller, question: &Question) -> Result<Account> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let lens = lens_of(permit.site(), question.as_of, records.store.now());
    let snapshot = records.look(caller, question.known_at).await?;
    let group = groups::one(&snapshot, &permit, &question.group, lens).await?;
    told(&snapshot, &permit, group, lens, question.days).await
}

/// The same in a snapshot that is there.
pub(crate) async fn told(
    snapshot: &Snapshot,
    permit: &Permit,
    group: Group,
    lens: Lens,
    days: u64,
) -> Result<Account> {
    let company = company(snapshot, permit, group.id, lens.at).await?;
    let mut offers = remembered(snapshot, permit, group.id, lens.day).await?;
    let items = enrichment::items(snapshot, permit).await?;
    let of_item = by_item(&offers);
    let mut standings: Vec<Standing> = items
        .into_iter()
        .filter(|item| !item.out_of_use)
        .map(|item| {
            let own = of_item.get(&item.id).map_or(&[][..], Vec::as_slice);
            standing(item, own, &company, lens.day)
        })
        .collect();
    // What was never offered, or not for half a year, first.
    standings.sort_by_key(|one| (one.days_since.is_some(), -one.days_since.unwrap_or_default()));
    let first = lens.day - Days::new(days.saturating_sub(1));
    offers.retain(|offer| offer.given_on >= first);
    let variety = variety(offers.iter().map(|offer| offer.kind));
    Ok(Account { group: group.name, terms: company.terms, variety, items: standings, offers })
}

async fn company(snapshot: &Snapshot, permit: &Permit, group: Uuid, at: DateTime<Utc>) -> Result<Company> {
    let species = enrichment::species_of_group(snapshot, permit, group, at).await?;
    let terms = enrichment::terms(snapshot, permit, group).await?;
    Ok(Company { species: species.into_iter().collect(), terms })
}

/// What a group was offered in the half year that ends with a day, newest first.
async fn remembered(
    snapshot: &Snapshot,
    permit: &Permit,
    group: Uuid,
    last: NaiveDate,
) -> Result<Vec<Offer>> {
    let days = Some((last - Days::new(MEMORY - 1), last));
    let wanted = Wanted { group: Some(group), days, ..Wanted::default() };
    Ok(enrichment::offers(snapshot, permit, wanted).await?)
}

fn by_item(offers: &[Offer]) -> HashMap<Uuid, Vec<&Offer>> {
    let mut of_item: HashMap<Uuid, Vec<&Offer>> = HashMap::new();
    for offer in offers {
        of_item.entry(offer.item).or_default().push(offer);
    }
    of_item
}

fn standing(item: Item, own: &[&Offer], company: &Company, day: NaiveDate) -> Standing {
    let uses: Vec<Use> =
        own.iter().map(|offer| Use { day: offer.given_on, minutes: offer.met.minutes() }).collect();
    let days: Vec<NaiveDate> = own.iter().map(|offer| offer.given_on).collect();
    let looked: Vec<bool> = own.iter().filter_map(|offer| offer.met.used()).collect();
    let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let used = number(looked.iter().filter(|used| **used).count());
    Standing {
        days_since: days.iter().max().map(|latest| (day - *latest).num_days()),
        looked_at: looked.len(),
        taken_up: rates::share(used, number(looked.len())),
        wear: wear(&uses),
        objections: item.objections(company, &days, day),
        item,
    }
}

/// How varied things of these kinds are.
fn variety(kinds: impl Iterator<Item = Kind>) -> Option<Variety> {
    let mut counts = Kind::ALL.map(|kind| (kind, 0_u32));
    for kind in kinds {
        if let Some((_, count)) = counts.iter_mut().find(|(known, _)| *known == kind) {
            *count += 1;
        }
    }
    let told = diversity(&counts.map(|(_, count)| count))?;
    Some(Variety { kinds: counts.into_iter().filter(|(_, count)| *count > 0).collect(), told })
}

/// What a rota is asked for.
#[derive(Clone, Debug)]
pub struct Wish {
    pub site: String,
    pub groups: Vec<String>,
    /// Tomorrow where none.
    pub first: Option<NaiveDate>,
    pub days: usize,
    pub staff_minutes: u32,
    pub seed: u64,
    pub known_at: Option<DateTime<Utc>>,
}

/// Makes a rota for groups that share staff. What their plans keep for enrichment on the first day is what items
/// may give of energy on each.
///
/// # Errors
/// Refused where there is no such site in scope, or it has no such group.
pub async fn rota(records: &Records, caller: &Caller, wish: &Wish) -> Result<Rota> {
    let permit = records.permit(caller, Deed::Read, &wish.site).await?;
    let lens = lens_of(permit.site(), None, records.store.now());
    let first = wish.first.unwrap_or(lens.day + Days::new(1));
    let snapshot = records.look(caller, wish.known_at).await?;
    let mut items = enrichment::items(&snapshot, &permit).await?;
    items.retain(|item| !item.out_of_use);
    let (mut names, mut kept, mut asking, mut history) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for name in &wish.groups {
        let group = groups::one(&snapshot, &permit, name, lens).await?;
        if names.contains(&group.name) {
            continue;
        }
        let company = company(&snapshot, &permit, group.id, lens.at).await?;
        let kept_kcal =
            plan_on(&snapshot, &permit, &group, first).await?.map_or(0.0, |plan| plan.enrichment_kcal());
        let place = names.len();
        let before = remembered(&snapshot, &permit, group.id, first - Days::new(1)).await?;
        history.extend(before.iter().map(|offer| audit::Offer {
            group: place,
            item: offer.item,
            day: offer.given_on,
            used: offer.met.used(),
        }));
        asking.push(audit::Group {
            group: place,
            species: company.species,
            refuses: company.terms.refused_hazards,
            kcal: whole(kept_kcal),
            offers_a_day: company.terms.offers_a_day,
        });
        names.push(group.name);
        kept.push(kept_kcal);
    }
    let offered: Vec<_> = items.iter().map(Item::offered).collect();
    let made = plan(&Task {
        items: &offered,
        groups: &asking,
        history: &history,
        first,
        minutes: &vec![wish.staff_minutes; wish.days],
        seed: wish.seed,
    });
    let slots: Vec<(usize, Slot)> = made
        .slots
        .iter()
        .filter_map(|slot| {
            let item = items.iter().find(|item| item.id == slot.item)?.clone();
            Some((slot.group, Slot { on: slot.day, group: names[slot.group].clone(), item }))
        })
        .collect();
    let groups = names.iter().zip(kept).enumerate().map(|(place, (name, kept_kcal))| {
        let own = slots.iter().filter(|(group, _)| *group == place);
        GroupRota { group: name.clone(), variety: variety(own.map(|(_, slot)| slot.item.kind)), kept_kcal }
    });
    Ok(Rota {
        groups: groups.collect(),
        unfilled: made.unfilled.iter().map(|one| (one.day, names[one.group].clone(), one.why)).collect(),
        slots: slots.into_iter().map(|(_, slot)| slot).collect(),
    })
}
