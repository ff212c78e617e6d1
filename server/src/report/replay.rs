//! What would have been raised when, had a site been watched all along: under the thresholds of today and
//! under others.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::concern::{About, ConcernKind, Household, Level};
use crate::model::reason::Reason;
use crate::records::background::{Background, Scales};
use crate::records::error::{Refusal, Result, fault};
use crate::records::{Records, concerns, one_animal, weights as rules};
use crate::store::animals::{self, Lens, Lock, Stay};
use crate::store::weights;
use chrono::{DateTime, Days, NaiveDate, Utc};
use holt_audit::episode::Change;
use holt_audit::reading::Reading;
use holt_audit::replay::replay;
use holt_audit::terms::Span;
use holt_audit::trend::{Settings, Subject};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// What a replay is and is not; printed with it.
pub const CAUTION: &str = "A replay says what the watch would have told of the records that are here now, as if nobody \
     had taken anything up or settled it. It does not say what would have become of the animals.";

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

/// The animals that lived together at the end, or one by itself, with their stays and readings.
struct Group {
    stays: Vec<Stay>,
    readings: Vec<Vec<Reading>>,
    /// When each carried young, by their births.
    gravid: Vec<Vec<Span>>,
}

/// Watches the past of a site again, at the end of each week. Who lived together is taken from where
/// animals lived last.
///
/// # Errors
/// Refused where there is no such site in scope or no such animal, for a threshold that there is not, and
/// where it is more than one call should do.
pub async fn of(records: &Records, caller: &Caller, question: &Question) -> Result<Replayed> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let changed = changed(&records.trend, &question.thresholds)?;
    let instants = weeks(&permit, question)?;
    let Some((from, to)) = instants.first().copied().zip(instants.last().copied()) else {
        return Ok(Replayed { today: Vec::new(), otherwise: None, animals: 0, animal_years: 0.0 });
    };
    let snapshot = records.look(caller, None).await?;
    let lens = Lens { site: Some(permit.site().id), at: to, day: question.last };
    let mut stays = animals::stays(&snapshot, &permit, from, lens).await?;
    let only = if question.animal.is_empty() {
        None
    } else {
        let now = records.store.now();
        Some(one_animal(&snapshot, Some(&permit), &question.animal, now, Lock::None).await?.id)
    };
    let homes = group(&mut stays);
    let wanted: Vec<Vec<Stay>> = homes
        .into_iter()
        .filter(|home| only.is_none_or(|id| home.iter().any(|stay| stay.animal.id == id)))
        .collect();
    let ids: Vec<Uuid> = wanted.iter().flatten().map(|stay| stay.animal.id).collect();
    if ids.len() * instants.len() > MOST_WEEKS {
        let say =
            format!("{} animals over {} weeks are more than one call watches", ids.len(), instants.len());
        return Err(Refusal::new(Reason::Malformed, say, "name fewer days, or one animal").at("days").into());
    }
    let series = weights::by_animal(&snapshot, &ids, from - rules::REACH, to).await?;
    let mut scales = Scales::default();
    let readings: HashMap<Uuid, Vec<Reading>> =
        ids.iter().map(|id| (*id, scales.seen(series.get(id).into_iter().flatten()))).collect();
    // Seasons as they were known when it begins: nothing is to be told from what came later. How scales
    // differ does not change with what is known of it.
    let background = Background::load(&snapshot, &permit, &readings, permit.site().day_of(from)).await?;
    drop(snapshot);
    let groups: Vec<Group> = wanted
        .into_iter()
        .map(|stays| {
            let of_each = |stay: &Stay| readings.get(&stay.animal.id).cloned().unwrap_or_default();
            let carried = |stay: &Stay| background.gravid(stay.animal.id).to_vec();
            Group {
                readings: stays.iter().map(of_each).collect(),
                gravid: stays.iter().map(carried).collect(),
                stays,
            }
        })
        .collect();
    let today = records.trend;
    let zone = permit.site().zone;
    let told = move || {
        let run = |settings: &Settings| -> Vec<Told> {
            let mut told: Vec<Told> =
                groups.iter().flat_map(|group| group.told(&instants, &background, zone, settings)).collect();
            told.retain(|one| {
                only.is_none_or(|id| matches!(&one.about, About::Animal(label) if label.id == id))
            });
            told.sort_by(|a, b| (a.on, name(&a.about)).cmp(&(b.on, name(&b.about))));
            told
        };
        let members = groups.iter().flat_map(|group| &group.stays);
        let members = members.filter(|stay| only.is_none_or(|id| stay.animal.id == id));
        let (animals, weeks) = members.fold((0, 0_usize), |(animals, weeks), stay| {
            let there = instants.iter().filter(|at| here(stay, zone, **at)).count();
            (animals + 1, weeks + there)
        });
        #[expect(clippy::cast_precision_loss, reason = "at most 30,000")]
        let animal_years = weeks as f64 * 7.0 / 365.25;
        Replayed { today: run(&today), otherwise: changed.as_ref().map(run), animals, animal_years }
    };
    // Seconds of work in which no other call should wait.
    tokio::task::spawn_blocking(told).await.map_err(|error| fault(error.to_string()))
}

impl Group {
    fn told(
        &self,
        instants: &[DateTime<Utc>],
        background: &Background,
        zone: chrono_tz::Tz,
        settings: &Settings,
    ) -> Vec<Told> {
        let known = |at: DateTime<Utc>| {
            let today = holt_audit::zone::day_of(zone, at);
            let members = self.stays.iter().zip(&self.readings).zip(&self.gravid).enumerate();
            members
                .filter(|(_, ((stay, _), _))| here(stay, zone, at))
                .map(|(n, ((stay, readings), gravid))| {
                    // That she carried is told by the births, once they are there.
                    let born = gravid.iter().take_while(|span| span.until.is_some_and(|born| born <= today));
                    let against = background.subject(zone, stay.animal.id, readings, None);
                    (n, Subject { gravid: &gravid[..born.count()], ..against })
                })
                .collect()
        };
        replay(instants.iter().copied(), known, settings)
            .into_iter()
            .map(|event| Told {
                on: holt_audit::zone::day_of(zone, event.at),
                kind: event.member.map_or(ConcernKind::GroupWeight, |_| concerns::kind(event.matter)),
                about: self.about(event.member),
                change: event.change,
                found: event.seen.map(|seen| (seen.severity, seen.since)),
            })
            .collect()
    }
}

impl Group {
    /// One of the members, or those that live together as one.
    fn about(&self, member: Option<usize>) -> About {
        if let Some(member) = member {
            return About::Animal(self.stays[member].animal.clone());
        }
        let first = self.stays.first();
        About::Household(Household {
            enclosure: first
                .and_then(|stay| stay.enclosure.as_ref())
                .map(|(_, name)| name.clone())
                .unwrap_or_default(),
            taxon: first.map(|stay| stay.taxon.scientific_name.clone()).unwrap_or_default(),
        })
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
fn here(stay: &Stay, zone: chrono_tz::Tz, at: DateTime<Utc>) -> bool {
    let day = holt_audit::zone::day_of(zone, at);
    stay.began_on <= day && stay.ended_on.is_none_or(|ended| day <= ended)
}

/// Animals of one kind that lived in one enclosure, and each that lived nowhere by itself.
fn group(stays: &mut Vec<Stay>) -> Vec<Vec<Stay>> {
    let mut together: BTreeMap<(Uuid, Uuid), Vec<Stay>> = BTreeMap::new();
    let mut alone = Vec::new();
    for stay in stays.drain(..) {
        match &stay.enclosure {
            Some((enclosure, _)) => together.entry((*enclosure, stay.taxon.id)).or_default().push(stay),
            None => alone.push(vec![stay]),
        }
    }
    together.into_values().chain(alone).collect()
}

/// The ends of weeks, the last one that of the last day.
fn weeks(permit: &Permit, question: &Question) -> Result<Vec<DateTime<Utc>>> {
    let days = (question.last - question.first).num_days();
    if days >= LONGEST {
        let say = format!("{} days are more than one call watches", days + 1);
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

/// Today's thresholds with other values for some.
fn changed(today: &Settings, thresholds: &[(String, f64)]) -> Result<Option<Settings>> {
    if thresholds.is_empty() {
        return Ok(None);
    }
    let mut all = serde_json::to_value(today)
        .ok()
        .and_then(|value| value.as_object().cloned())
        .ok_or_else(|| fault("the thresholds are no object".to_owned()))?;
    let known: Vec<String> =
        all.iter().filter(|(_, value)| value.is_number()).map(|(name, _)| name.clone()).collect();
    for (n, (name, value)) in thresholds.iter().enumerate() {
        let field = format!("thresholds[{n}]");
        if !known.contains(name) {
            let say = format!("there is no threshold `{name}`");
            let mend = format!("name one of {}", known.join(", "));
            return Err(Refusal::new(Reason::Malformed, say, mend).at(field).into());
        }
        #[expect(clippy::cast_possible_truncation, reason = "a whole number below a million")]
        let number = if (0.0..1e6).contains(value) && value.fract() == 0.0 {
            serde_json::Value::from(*value as i64)
        } else {
            serde_json::Value::from(*value)
        };
        all.insert(name.clone(), number);
        if !(0.0..1e6).contains(value) || serde_json::from_value::<Settings>(all.clone().into()).is_err() {
            let say = format!("{value} is no value for `{name}`");
            let mend = "give a number of 0 or more, a whole one where weeks or refusals are counted";
            return Err(Refusal::new(Reason::Malformed, say, mend).at(field).into());
        }
    }
    serde_json::from_value(all.into()).map(Some).map_err(|error| fault(error.to_string()))
}
