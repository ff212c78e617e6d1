//! Feeding: foods and plans are set, what was given and left is recorded.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::feeding::{Feed, Food, Leftovers, NewFeed, NewFood, NewPlan, Plan, Planned, Portion, To};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::lens_of;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, groups, held_then, one_animal, rations};
use crate::store::animals::Reference;
use crate::store::feeding::{self, NewRow, Wanted};
use crate::store::{Tx, retrying};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Mass;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use uuid::Uuid;

/// What came of saying something of a food.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FoodSet {
    pub food: Food,
    /// Something else was said of it before.
    pub changed: bool,
}

/// Puts a food on record, or says something else of the one of that name.
///
/// # Errors
/// Refused without the role there.
pub async fn set_food(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewFood,
    because: &str,
) -> Result<FoodSet> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("set_food", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let foods = feeding::foods(&tx, &permit).await?;
        let on_record = named(&foods, &new.name).map(|food| food.id);
        let food = feeding::set_food(&mut tx, &permit, on_record, new, because).await?;
        Ok(tx.commit(FoodSet { food, changed: on_record.is_some() }).await?)
    })
    .await
}

/// Foods of a site.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn foods(
    records: &Records,
    caller: &Caller,
    site: &str,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<Food>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, known_at).await?;
    Ok(feeding::foods(&snapshot, &permit).await?)
}

/// The food of a name in any case, or of an identifier.
fn named<'f>(foods: &'f [Food], text: &str) -> Option<&'f Food> {
    let wanted = text.trim().to_lowercase();
    foods.iter().find(|food| food.name.to_lowercase() == wanted || food.id.to_string() == wanted)
}

/// The foods that are named, each in its field; all that are not there are told at once.
fn all_named<'f, 'n>(
    foods: &'f [Food],
    names: impl Iterator<Item = &'n String>,
) -> std::result::Result<Vec<&'f Food>, Refusal> {
    let mut found = Vec::new();
    let mut refusal: Option<Refusal> = None;
    for (n, text) in names.enumerate() {
        match named(foods, text) {
            Some(food) => found.push(food),
            None => {
                let mut missing = Refusal::not_found("food", text);
                "add the food first".clone_into(&mut missing.mend);
                let missing = missing.at(format!("feeds[{n}].food"));
                match &mut refusal {
                    None => refusal = Some(missing),
                    Some(first) => first.at.extend(missing.at),
                }
            }
        }
    }
    refusal.map_or(Ok(found), Err)
}

/// Says what a group is given each day, and works out how that compares with what its members need now.
///
/// # Errors
/// Refused without the role there; where the site has no such group, or no food of a name.
pub async fn set_plan(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewPlan,
) -> Result<Planned> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("set_feed_plan", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let lens = lens_of(permit.site(), None, tx.now());
        let group = groups::one(&tx, &permit, &new.group, lens).await?;
        let foods = feeding::foods(&tx, &permit).await?;
        let of = all_named(&foods, new.portions.iter().map(|portion| &portion.food))?;
        let portions: Vec<Portion> = new
            .portions
            .iter()
            .zip(of)
            .map(|(portion, food)| Portion {
                at: portion.at,
                food: food.id,
                mass: portion.mass,
                method: portion.method,
                as_enrichment: portion.as_enrichment,
                note: portion.note.clone(),
            })
            .collect();
        let from = new.from.unwrap_or(lens.day);
        feeding::set_plan(&mut tx, &permit, group.id, from, &portions, &new.because).await?;
        let need = rations::need(&tx, &permit, group.id, lens).await?;
        let plan = Plan::new(group.name, from, portions, &foods);
        Ok(tx.commit(Planned { plan, need }).await?)
    })
    .await
}

/// Records what was given: all of it, or nothing.
///
/// # Errors
/// Refused without the role there; where the site has no such group or food, did not hold an animal then, or a
/// time is to come.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &[NewFeed],
) -> Result<Vec<Feed>> {
    let permit = records.permit(caller, Deed::Tend, site).await?;
    retrying("record_feeds", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let rows = placed(&tx, &permit, new).await?;
        let ids = feeding::insert(&mut tx, &permit, &rows).await?;
        let wanted = Wanted { ids: Some(ids.clone()), ..Wanted::default() };
        let mut feeds = feeding::feeds(&tx, &permit, wanted, i64::MAX).await?;
        feeds.sort_by_key(|feed| ids.iter().position(|id| *id == feed.id));
        Ok(tx.commit(feeds).await?)
    })
    .await
}

/// Finds to whom, what and when.
async fn placed(tx: &Tx, permit: &Permit, new: &[NewFeed]) -> Result<Vec<NewRow>> {
    let foods = feeding::foods(tx, permit).await?;
    let of = all_named(&foods, new.iter().map(|feed| &feed.food))?;
    let mut alone: Vec<(usize, Reference)> = Vec::new();
    let mut known: HashMap<String, Uuid> = HashMap::new();
    for (n, feed) in new.iter().enumerate() {
        let at = feed.at.unwrap_or_else(|| tx.now());
        if at > tx.now() {
            return Err(Refusal::in_the_future("time of the feed", &format!("feeds[{n}].given_at")).into());
        }
        match &feed.to {
            To::Animal(text) => alone.push((n, Reference { text: text.clone(), at })),
            To::Group(name) if known.contains_key(name) => {}
            To::Group(name) => {
                let lens = lens_of(permit.site(), None, tx.now());
                known.insert(name.clone(), groups::one(tx, permit, name, lens).await?.id);
            }
        }
    }
    let (places, references): (Vec<usize>, Vec<Reference>) = alone.into_iter().unzip();
    let labels = held_then(tx, permit, &references, |n| format!("feeds[{}].animal", places[n])).await?;
    let mut labels = labels.into_iter();
    let rows = new.iter().zip(of).map(|(feed, food)| {
        let (group, animal) = match &feed.to {
            To::Group(name) => (known.get(name).copied(), None),
            To::Animal(_) => (None, labels.next().map(|label| label.id)),
        };
        let given_at = feed.at.unwrap_or_else(|| tx.now());
        NewRow { group, animal, food: food.id, given_at, given: feed.clone() }
    });
    Ok(rows.collect())
}

async fn on_record(tx: &Tx, permit: &Permit, id: Uuid) -> Result<Feed> {
    let wanted = Wanted { ids: Some(vec![id]), ..Wanted::default() };
    let found = feeding::feeds(tx, permit, wanted, 1).await?.pop();
    found.ok_or_else(|| Refusal::not_found("feed", &id.to_string()).at("feed_id").into())
}

/// Records what was left of something that was given, and how long it lasted.
///
/// # Errors
/// Refused without the role there; where there is no such record, or more is left than was given.
pub async fn leftovers(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: Leftovers,
) -> Result<Feed> {
    let permit = records.permit(caller, Deed::Tend, site).await?;
    retrying("record_leftovers", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let feed = on_record(&tx, &permit, new.feed).await?;
        if let Some(refusal) = more_than_given(feed.given, new.left) {
            return Err(refusal.at("left").into());
        }
        let lasted = new.lasted_minutes.or(feed.lasted_minutes);
        feeding::set_left(&mut tx, feed.id, new.left, lasted).await?;
        let feed = on_record(&tx, &permit, new.feed).await?;
        Ok(tx.commit(feed).await?)
    })
    .await
}

/// What is wrong where more is left than was given.
fn more_than_given(given: Mass, left: Mass) -> Option<Refusal> {
    let mend = "weigh it again: wet food weighs more; write at most what was given";
    let say = || format!("{} g of leftovers, but {} g were given", left.grams(), given.grams());
    (left > given).then(|| Refusal::new(Reason::Malformed, say(), mend))
}

/// Takes back a record of something that was not given.
///
/// # Errors
/// Refused without the role there, or where there is no such record.
pub async fn withdraw(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    feed: Uuid,
    because: &str,
) -> Result<Feed> {
    let permit = records.permit(caller, Deed::Tend, site).await?;
    retrying("withdraw_feed", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let feed = on_record(&tx, &permit, feed).await?;
        feeding::withdraw(&mut tx, feed.id, because).await?;
        Ok(tx.commit(feed).await?)
    })
    .await
}

/// Which feeds a list is about.
#[derive(Clone, Debug)]
pub struct Asked {
    pub site: String,
    /// All where empty.
    pub group: String,
    pub animal: String,
    pub days: Option<(NaiveDate, NaiveDate)>,
    pub known_at: Option<DateTime<Utc>>,
}

/// What was given at a site, newest first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such group or animal.
pub async fn list(records: &Records, caller: &Caller, asked: &Asked, page: &Page) -> Result<Slice<Feed>> {
    let permit = records.permit(caller, Deed::Read, &asked.site).await?;
    let snapshot = records.look(caller, asked.known_at).await?;
    let now = records.store.now();
    let mut wanted = Wanted { days: asked.days, after: page.after.clone(), ..Wanted::default() };
    if !asked.group.is_empty() {
        let lens = lens_of(permit.site(), None, now);
        wanted.group = Some(groups::one(&snapshot, &permit, &asked.group, lens).await?.id);
    }
    if !asked.animal.is_empty() {
        let label = one_animal(&snapshot, Some(&permit), &asked.animal, now).await?;
        wanted.animals = Some(vec![label.id]);
    }
    let feeds = feeding::feeds(&snapshot, &permit, wanted, i64::from(page.size) + 1).await?;
    Ok(Slice::cut(feeds, page, |feed| format!("{} {}", feed.given_at.to_rfc3339(), feed.id)))
}
