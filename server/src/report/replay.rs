//! What would have been raised when, had a site been watched all along: under the thresholds of today and
//! under others.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::concern::{About, ConcernKind, Household, Level};
use crate::model::reason::Reason;
use crate::records::error::{Refusal, Result, fault};
use crate::records::expected::{self, Past};
use crate::records::{Records, concerns, one_animal};
use crate::store::animals::{self, Lens, Stay};
use chrono::{DateTime, Days, NaiveDate, Utc};
use chrono_tz::Tz;
use holt_audit::episode::{Change, Sighting};
use holt_audit::expected::Cause;
use holt_audit::replay::Replay;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What a replay is and is not; printed with it.
pub const CAUTION: &str = "A replay shows what Holt would have raised from the records of now, as if nobody \
    had taken on or closed a concern. It does not show how the animals would have fared.";

/// Most weeks of an animal that are watched in one call.
const MOST_WEEKS: usize = 30_000;
/// Longest stretch, days.
const LONGEST: i64 = 3 * 366;

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question {
    pub site: String,
    /// Reference to one animal; empty for all of the site.
    pub animal: String,
    pub first: NaiveDate,
    pub last: NaiveDate,
    /// Names and values of thresholds that differ from today's.
    pub thresholds: Vec<(String, f64)>,
}

/// Something that people would have been told.
#[derive(Clone, Debug)]
pub struct Told {
    pub on: NaiveDate,
    pub about: About,
    pub kind: ConcernKind,
    pub change: Change,
    /// How soon to look, and since when it went on; none once it is quiet or over.
    pub found: Option<(Level, NaiveDate)>,
}

/// What would have been raised.
#[derive(Clone, Debug)]
pub struct Replayed {
    pub today: Vec<Told>,
    /// Under the thresholds asked for, where some were.
    pub otherwise: Option<Vec<Told>>,
    pub animals: usize,
    pub animal_years: f64,
}

/// A matter that people would have been told of: of an animal, or of the animals in an enclosure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Matter {
    /// Of a group: whether it is its scale.
    Group(Uuid, bool),
    Animal(Uuid, bool),
    Scale(Uuid),
}

/// Animals of one kind, with their stays.
struct Herd {
    stays: Vec<Stay>,
    past: Past,
}

/// Watches the past of a site again, at the end of each week, with those that lived together then.
///
/// # Errors
/// Refused where there is no such site in scope or no such animal, for a threshold that there is not, and
/// where it is more than one call should do.
pub async fn of(records: &Records, caller: &Caller, question: &Question) -> Result<Replayed> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let changed = changed(&question.thresholds)?;
    let instants = weeks(&permit, question)?;
    let Some((from, to)) = instants.first().copied().zip(instants.last().copied()) else {
        return Ok(Replayed { today: Vec::new(), otherwise: None, animals: 0, animal_years: 0.0 });
    };
    let snapshot = records.look(caller, None).await?;
    let lens = Lens { site: Some(permit.site().id), at: to, day: question.last };
    let mut stays = animals::stays(&snapshot, &permit, from, lens).await?;
    if !question.animal.is_empty() {
        let now = records.store.now();
        let only = one_animal(&snapshot, Some(&permit), &question.animal, now).await?.id;
        stays.retain(|stay| stay.animal.id == only);
    }
    if stays.len() * instants.len() > MOST_WEEKS {
        let say =
            format!("{} animals over {} weeks are more than one replay covers", stays.len(), instants.len());
        return Err(Refusal::new(Reason::Malformed, say, "name fewer days, or one animal").at("days").into());
    }
    let ids: Vec<Uuid> = stays.iter().map(|stay| stay.animal.id).collect();
    let mut kinds: BTreeMap<Uuid, Vec<Stay>> = BTreeMap::new();
    for stay in stays {
        kinds.entry(stay.taxon.id).or_default().push(stay);
    }
    let past = expected::past(records, &snapshot, &permit, &ids, to).await?;
    let mut herds: Vec<Herd> = past
        .into_iter()
        .map(|past| Herd { stays: kinds.remove(&past.book.taxon).unwrap_or_default(), past })
        .collect();
    drop(snapshot);
    let (today, zone, whole) = (records.false_a_year, permit.site().zone, question.animal.is_empty());
    let told = move || {
        let mut run = |false_a_year: f64| -> Vec<Told> {
            let mut told: Vec<Told> =
                herds.iter_mut().flat_map(|herd| herd.told(&instants, zone, false_a_year, whole)).collect();
            told.sort_by(|a, b| (a.on, name(&a.about)).cmp(&(b.on, name(&b.about))));
            told
        };
        let (under, otherwise) = (run(today), changed.map(run));
        let stays = || herds.iter().flat_map(|herd| &herd.stays);
        let weeks: usize =
            stays().map(|stay| instants.iter().filter(|at| here(stay, zone, **at)).count()).sum();
        #[expect(clippy::cast_precision_loss, reason = "at most 30,000")]
        let animal_years = weeks as f64 * 7.0 / 365.25;
        Replayed { today: under, otherwise, animals: stays().count(), animal_years }
    };
    // Seconds of work in which no other call should wait.
    tokio::task::spawn_blocking(told).await.map_err(|error| fault(error.to_string()))
}

impl Herd {
    fn told(&mut self, instants: &[DateTime<Utc>], zone: Tz, false_a_year: f64, whole: bool) -> Vec<Told> {
        let (stays, mut replay, mut told) = (&self.stays, Replay::default(), Vec::new());
        let mut names: BTreeMap<Uuid, Household> = BTreeMap::new();
        self.past.goes(false_a_year, instants, |at, run| {
            let day = |at| holt_audit::zone::day_of(zone, at);
            let mut found: BTreeMap<Matter, Sighting> = BTreeMap::new();
            let mut homes = BTreeSet::new();
            for stay in stays.iter().filter(|stay| here(stay, zone, at)) {
                let animal = stay.animal.id;
                homes.insert(run.book.home(animal, at));
                if let Some(loss) = run.herd.told(expected::id(animal)) {
                    let seen = Sighting { since: day(loss.since), severity: loss.severity };
                    found.insert(Matter::Animal(animal, loss.gains_less), seen);
                }
                if let Some(refusal) = run.own.get(&animal).and_then(|own| own.attempts.refusal()) {
                    let seen = Sighting { since: day(refusal.since), severity: Level::Watch };
                    found.insert(Matter::Scale(animal), seen);
                }
            }
            for home in homes.into_iter().filter(|_| whole) {
                let Some(enclosure) = run.book.enclosure(home) else { continue };
                names.entry(home).or_insert_with(|| Household {
                    enclosure: enclosure.to_owned(),
                    taxon: run.book.species.clone(),
                });
                if let Some(whole) = run.herd.whole(expected::id(home)).filter(|whole| whole.loss.told) {
                    let severity = concerns::level_of(&whole);
                    let kind = Matter::Group(home, whole.cause == Cause::Scale);
                    found.insert(kind, Sighting { since: day(whole.loss.since), severity });
                }
            }
            let heard = replay.look(day(at), &found).into_iter();
            told.extend(heard.map(|(matter, change, seen)| (day(at), matter, change, seen)));
        });
        let label = |id: Uuid| stays.iter().find(|stay| stay.animal.id == id).map(|stay| stay.animal.clone());
        told.into_iter()
            .filter_map(|(on, matter, change, seen)| {
                let (about, kind) = match matter {
                    Matter::Group(home, of_scale) => {
                        let cause = if of_scale { Cause::Scale } else { Cause::Loss };
                        (About::Household(names.get(&home)?.clone()), concerns::kind_of_group(cause))
                    }
                    Matter::Animal(animal, gains_less) => {
                        (About::Animal(label(animal)?), concerns::kind_of(gains_less))
                    }
                    Matter::Scale(animal) => (About::Animal(label(animal)?), ConcernKind::ScaleRefused),
                };
                Some(Told { on, about, kind, change, found: seen.map(|seen| (seen.severity, seen.since)) })
            })
            .collect()
    }
}

/// What those are sorted by that are told of on one day.
fn name(about: &About) -> (&str, &str) {
    match about {
        About::Household(household) => ("", &household.enclosure),
        About::Device { name, enclosure } => (name, enclosure),
        About::Animal(label) => (&label.accession, ""),
    }
}

/// Whether an animal was on the books then.
fn here(stay: &Stay, zone: Tz, at: DateTime<Utc>) -> bool {
    let day = holt_audit::zone::day_of(zone, at);
    stay.began_on <= day && stay.ended_on.is_none_or(|ended| day <= ended)
}

/// The ends of weeks, the last one that of the last day.
fn weeks(permit: &Permit, question: &Question) -> Result<Vec<DateTime<Utc>>> {
    let days = (question.last - question.first).num_days();
    if days >= LONGEST {
        let say = format!("{} days are more than one replay covers", days + 1);
        return Err(Refusal::new(Reason::Malformed, say, "name at most three years").at("days").into());
    }
    let mut ends: Vec<DateTime<Utc>> =
        std::iter::successors(Some(question.last), |day| day.checked_sub_days(Days::new(7)))
            .take_while(|day| *day >= question.first)
            .map(|day| permit.site().close_of(day))
            .collect();
    ends.reverse();
    Ok(ends)
}

/// The one threshold that there is.
const FALSE_A_YEAR: &str = "false_a_year";

/// Another rate of false concerns, if one is asked for.
fn changed(thresholds: &[(String, f64)]) -> Result<Option<f64>> {
    let mut changed = None;
    for (n, (name, value)) in thresholds.iter().enumerate() {
        let field = format!("thresholds[{n}]");
        if name != FALSE_A_YEAR {
            let say = format!("there is no threshold `{name}`");
            let mend = format!("name `{FALSE_A_YEAR}`: how many false concerns an animal-year may have");
            return Err(Refusal::new(Reason::Malformed, say, mend).at(field).into());
        }
        if !(0.02..=1.0).contains(value) {
            let say = format!("{value} is not a value for `{name}`");
            return Err(Refusal::new(Reason::Malformed, say, "give a number from 0.02 to 1")
                .at(field)
                .into());
        }
        changed = Some(*value);
    }
    Ok(changed)
}
