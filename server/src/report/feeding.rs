//! How a group is fed: the plan, what was given and eaten, and what its members need.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::enrichment::Offer;
use crate::model::feeding::{Alone, Beside, FedDay, Feed, Feeding, GroupNeed, Plan};
use crate::model::group::Group;
use crate::records::animals::lens_of;
use crate::records::error::Result;
use crate::records::{Records, groups as rules, rations};
use crate::store::animals::{self, Lens};
use crate::store::feeding::{self, Wanted};
use crate::store::{Snapshot, enrichment, groups, weights};
use chrono::{DateTime, Days, NaiveDate, Utc};
use holt_audit::terms::Mass;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// Which group, and over which days.
#[derive(Clone, Debug)]
pub struct Question {
    pub site: String,
    pub group: String,
    /// Today where none.
    pub as_of: Option<NaiveDate>,
    /// Days to look back over, that day included.
    pub days: u64,
    pub known_at: Option<DateTime<Utc>>,
}

/// How a group is fed.
///
/// # Errors
/// Refused where there is no such site in scope, or it has no such group.
pub async fn of_group(records: &Records, caller: &Caller, question: &Question) -> Result<Feeding> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let now = records.store.now();
    let lens = lens_of(permit.site(), question.as_of, now);
    let snapshot = records.look(caller, question.known_at).await?;
    let group = rules::one(&snapshot, &permit, &question.group, lens).await?;
    let first = lens.day - Days::new(question.days.saturating_sub(1));
    let today = permit.site().day_of(now);
    told(&snapshot, &permit, group, lens, (first, today)).await
}

/// The same in a snapshot that is there, from `first` on; days before `today` are over.
pub(crate) async fn told(
    snapshot: &Snapshot,
    permit: &Permit,
    group: Group,
    lens: Lens,
    (first, today): (NaiveDate, NaiveDate),
) -> Result<Feeding> {
    let need = rations::need(snapshot, permit, group.id, lens).await?;
    let plan = plan_on(snapshot, permit, &group, lens.day).await?;
    let (from, until) = (permit.site().start_of(first), permit.site().close_of(lens.day));
    let stays = groups::stretches(snapshot, permit, group.id, (from, until)).await?;
    let ids: Vec<Uuid> = stays.iter().map(|stay| stay.animal).collect();
    let wanted = Wanted {
        group_or: Some((group.id, ids.clone())),
        days: Some((first, lens.day)),
        ..Wanted::default()
    };
    let mut feeds = feeding::feeds(snapshot, permit, wanted, i64::MAX).await?;
    // What a member was given alone while it belonged elsewhere is not this group's.
    feeds.retain(|feed| {
        feed.animal.as_ref().is_none_or(|animal| {
            stays.iter().any(|stay| stay.animal == animal.id && stay.covers(feed.given_at))
        })
    });
    feeds.reverse();
    let offered = enrichment::Wanted {
        group: Some(group.id),
        days: Some((first, lens.day)),
        ..enrichment::Wanted::default()
    };
    let mut items = enrichment::offers(snapshot, permit, offered).await?;
    items.retain(|offer| offer.kcal.is_some());
    let mut weighed = weighed(snapshot, &ids, lens, (from, until), permit).await?;
    let days: Vec<FedDay> = first
        .iter_days()
        .take_while(|day| *day <= lens.day)
        .map(|day| {
            let of_day: Vec<&Feed> = feeds.iter().filter(|feed| feed.given_on == day).collect();
            let items: Vec<&Offer> = items.iter().filter(|offer| offer.given_on == day).collect();
            fed(day, &of_day, &items, weighed.remove(&day).unwrap_or_default())
        })
        .collect();
    let (given, eaten) = means(&days, &need, today);
    feeds.retain(|feed| feed.given_on == lens.day);
    Ok(Feeding { group: group.name, plan, need, given, eaten, days, feeds })
}

/// What a group is to be given on a day.
pub(crate) async fn plan_on(
    snapshot: &Snapshot,
    permit: &Permit,
    group: &Group,
    day: NaiveDate,
) -> Result<Option<Plan>> {
    let Some((from, portions)) = feeding::plan(snapshot, permit, group.id, day).await? else {
        return Ok(None);
    };
    let foods = feeding::foods(snapshot, permit).await?;
    Ok(Some(Plan::new(group.name.clone(), from, portions, &foods)))
}

/// What these animals weighed on each day: the last reading of the day that may be used.
async fn weighed(
    snapshot: &Snapshot,
    animals: &[Uuid],
    lens: Lens,
    (from, until): (DateTime<Utc>, DateTime<Utc>),
    permit: &Permit,
) -> Result<HashMap<NaiveDate, Vec<(Label, Mass)>>> {
    let views = animals::views(snapshot, animals, lens).await?;
    let labels: HashMap<Uuid, Label> = views.iter().map(|animal| (animal.id, animal.label())).collect();
    let mut last: BTreeMap<(NaiveDate, String), (Label, Mass)> = BTreeMap::new();
    for point in weights::series(snapshot, animals, from, until).await? {
        let usable = point.mass.filter(|_| !point.doubtful && !point.estimate);
        if let (Some(mass), Some(label)) = (usable, labels.get(&point.animal)) {
            let day = permit.site().day_of(point.weighed_at);
            last.insert((day, label.accession.clone()), (label.clone(), mass));
        }
    }
    let mut by_day: HashMap<NaiveDate, Vec<(Label, Mass)>> = HashMap::new();
    for ((day, _), weighed) in last {
        by_day.entry(day).or_default().push(weighed);
    }
    Ok(by_day)
}

/// Energy eaten, where it is known of each thing and there is one.
fn eaten(things: impl IntoIterator<Item = Option<f64>>) -> Option<f64> {
    let mut things = things.into_iter().peekable();
    things.peek()?;
    things.sum()
}

fn fed(day: NaiveDate, feeds: &[&Feed], items: &[&Offer], weighed: Vec<(Label, Mass)>) -> FedDay {
    let sum = |of: &dyn Fn(&Feed) -> bool| -> f64 {
        feeds.iter().filter(|feed| of(feed)).map(|feed| feed.given_kcal()).sum()
    };
    let of_items: f64 = items.iter().filter_map(|offer| offer.kcal).sum();
    let both = feeds.iter().map(|feed| feed.eaten_kcal()).chain(items.iter().map(|offer| offer.eaten_kcal()));
    let mut alone: BTreeMap<String, (Label, Vec<&Feed>)> = BTreeMap::new();
    for feed in feeds {
        if let Some(animal) = &feed.animal {
            let own = alone.entry(animal.accession.clone()).or_insert_with(|| (animal.clone(), Vec::new()));
            own.1.push(feed);
        }
    }
    let alone = alone.into_values().map(|(animal, own)| Alone {
        animal,
        given: own.iter().map(|feed| feed.given_kcal()).sum(),
        eaten: eaten(own.iter().map(|feed| feed.eaten_kcal())),
    });
    FedDay {
        day,
        given: sum(&|_| true) + of_items,
        eaten: eaten(both),
        enrichment: sum(&|feed| feed.as_enrichment) + of_items,
        feeds: feeds.len(),
        not_looked_at: feeds.iter().filter(|feed| feed.left.is_none()).count(),
        items: items.len(),
        alone: alone.collect(),
        weighed,
    }
}

/// What was given, and what was eaten, on an average day that is over and of which it is on record.
fn means(days: &[FedDay], need: &GroupNeed, today: NaiveDate) -> (Option<Beside>, Option<Beside>) {
    let over = || days.iter().filter(|day| day.day < today && day.feeds + day.items > 0);
    let mean = |kcal: Vec<f64>| {
        let days = u32::try_from(kcal.len()).ok().filter(|days| *days > 0)?;
        Some(need.beside(kcal.iter().sum::<f64>() / f64::from(days)))
    };
    (mean(over().map(|day| day.given).collect()), mean(over().filter_map(|day| day.eaten).collect()))
}
