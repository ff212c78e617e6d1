//! What the weights of animals are seen against: when they carried young, the season of their kind, and
//! how scales differ.

use crate::access::permit::Permit;
use crate::model::animal::Animal;
use crate::records::Records;
use crate::records::error::Result;
use crate::records::weights::REACH;
use crate::store::Snapshot;
use crate::store::traits::{self, Behind};
use crate::store::weights::{self, Point};
use chrono::{DateTime, Days, NaiveDate, Utc};
use chrono_tz::Tz;
use holt_audit::companions;
use holt_audit::growth::{self, Stall};
use holt_audit::reading::{Reading as Seen, Scale};
use holt_audit::scales::Offsets;
use holt_audit::season::Season;
use holt_audit::stats::median_mad::median;
use holt_audit::terms::{Day, Mass, RecordId, Span};
use holt_audit::trend::{Subject, Trend};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// Days that the season of a kind is told from: five years.
const SEASON_DAYS: u64 = 1827;

/// Age in days below which an animal is young where its species does not say when it breeds: a year, common
/// practice, no source.
pub(crate) const USUAL_YOUNG: i64 = 365;

/// Age in days.
pub(crate) fn age(born: NaiveDate, on: NaiveDate) -> f64 {
    f64::from(i32::try_from((on - born).num_days()).unwrap_or(i32::MAX))
}

/// Scales numbered by site and name, whatever its capitals: the same name at another site is another scale.
#[derive(Debug, Default)]
pub(crate) struct Scales(HashMap<(Uuid, String), u32>);

impl Scales {
    fn number(&mut self, point: &Point) -> Option<Scale> {
        if point.scale.is_empty() {
            return None;
        }
        let next = u32::try_from(self.0.len()).unwrap_or(u32::MAX);
        Some(Scale(*self.0.entry((point.site, point.scale.to_lowercase())).or_insert(next)))
    }

    /// Readings as the audit module takes them; estimates are left out.
    pub(crate) fn seen<'a>(&mut self, points: impl Iterator<Item = &'a Point>) -> Vec<Seen> {
        points
            .filter(|point| !point.estimate)
            .map(|point| Seen {
                record: RecordId(point.id.as_u128()),
                at: point.weighed_at,
                mass: point.mass,
                scale: self.number(point),
                doubtful: point.doubtful,
            })
            .collect()
    }
}

/// What the weights of some animals are seen against.
pub(crate) struct Background {
    behind: HashMap<Uuid, Behind>,
    seasons: HashMap<Uuid, Season>,
    offsets: HashMap<Uuid, Offsets>,
}

impl Background {
    /// Of animals with their readings, as it was known by the end of a day. The season of a kind is read
    /// from what it weighed at the site; where nobody said that its kind is seasonal, nothing is read for it.
    pub(crate) async fn load(
        snapshot: &Snapshot,
        permit: &Permit,
        readings: &HashMap<Uuid, Vec<Seen>>,
        until: NaiveDate,
    ) -> Result<Self> {
        let mut animals: Vec<Uuid> = readings.keys().copied().collect();
        animals.sort_unstable();
        let behind = traits::behind(snapshot, &animals).await?;
        let seasonal: BTreeSet<Uuid> =
            behind.values().filter(|of_it| of_it.seasonal).map(|of_it| of_it.taxon).collect();
        let seasons = seasons(snapshot, permit, &seasonal, until).await?;
        let mut by_kind: BTreeMap<Uuid, Vec<&[Seen]>> = BTreeMap::new();
        for animal in &animals {
            if let (Some(of_it), Some(readings)) = (behind.get(animal), readings.get(animal)) {
                by_kind.entry(of_it.taxon).or_default().push(readings);
            }
        }
        let offsets = by_kind
            .into_iter()
            .filter(|(_, herd)| several_scales(herd))
            .map(|(kind, herd)| (kind, Offsets::of(herd)))
            .collect();
        Ok(Self { behind, seasons, offsets })
    }

    /// When an animal carried young, by their births.
    pub(crate) fn gravid(&self, animal: Uuid) -> &[Span] {
        self.behind.get(&animal).map_or(&[], |of_it| &of_it.gravid)
    }

    /// Where an animal gains no more as it did while it is young, and since which day. `grown` tells what the grown
    /// ones of its kind that it lives with weigh, and is asked only of a young one.
    pub(crate) fn stall(
        &self,
        animal: Uuid,
        readings: &[Seen],
        zone: Tz,
        grown: impl FnOnce() -> Option<Mass>,
    ) -> Option<(Day, Stall)> {
        let born = self.behind.get(&animal)?.born_on?;
        let day = |reading: &Seen| reading.at.with_timezone(&zone).date_naive();
        // One of each day, the last: who weighs twice to be sure has not weighed twice as often.
        let by_day: BTreeMap<Day, f64> = sound(readings)
            .map(|(reading, grams)| (day(reading), grams))
            .filter(|(on, _)| *on >= born)
            .collect();
        let weighed: Vec<(Day, f64)> = by_day.into_iter().collect();
        if (weighed.last()?.0 - born).num_days() >= self.young_for(animal) {
            return None;
        }
        let by_age: Vec<_> = weighed.iter().map(|(on, grams)| (age(born, *on), *grams)).collect();
        let stall = growth::stalled(&by_age, grown())?;
        Some((weighed[weighed.len() - stall.weighings].0, stall))
    }

    /// What the grown ones among some animals weigh, in the middle: those known to be so by their birth, or because
    /// they have been weighed for as long as one is young.
    pub(crate) fn grown(&self, herd: &[Uuid], readings: &HashMap<Uuid, Vec<Seen>>, zone: Tz) -> Option<Mass> {
        let last_of = |animal: &Uuid| {
            let readings = readings.get(animal)?;
            let (first, _) = sound(readings).min_by_key(|(reading, _)| reading.at)?;
            let (last, grams) = sound(readings).max_by_key(|(reading, _)| reading.at)?;
            let day = |reading: &Seen| reading.at.with_timezone(&zone).date_naive();
            let born = self.behind.get(animal).and_then(|of_it| of_it.born_on);
            let known_for = day(last) - born.unwrap_or_else(|| day(first));
            (known_for.num_days() >= self.young_for(*animal)).then_some(grams)
        };
        let mut grown: Vec<f64> = herd.iter().filter_map(last_of).collect();
        median(&mut grown).map(Mass::from_grams)
    }

    fn young_for(&self, animal: Uuid) -> i64 {
        let breeds_from = self.behind.get(&animal).and_then(|of_it| of_it.breeds_from_days);
        breeds_from.map_or(USUAL_YOUNG, i64::from)
    }

    /// An animal with its readings, seen against it.
    pub(crate) fn subject<'a>(
        &'a self,
        zone: Tz,
        animal: Uuid,
        readings: &'a [Seen],
        settled: Option<Day>,
    ) -> Subject<'a> {
        let behind = self.behind.get(&animal);
        Subject {
            gravid: self.gravid(animal),
            settled,
            season: behind.and_then(|of_it| self.seasons.get(&of_it.taxon)),
            offsets: behind.and_then(|of_it| self.offsets.get(&of_it.taxon)),
            ..Subject::new(readings, zone)
        }
    }
}

/// Readings with a mass that nobody doubts, in grams.
fn sound(readings: &[Seen]) -> impl Iterator<Item = (&Seen, f64)> {
    readings
        .iter()
        .filter(|reading| !reading.doubtful)
        .filter_map(|reading| Some((reading, reading.mass?.grams())))
}

/// The trend of each of these animals as of an instant, seen among those of its kind among them.
pub(crate) async fn trends(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    views: &[Animal],
    as_of: DateTime<Utc>,
) -> Result<BTreeMap<Uuid, Trend>> {
    let ids: Vec<Uuid> = views.iter().map(|view| view.id).collect();
    let series = weights::by_animal(snapshot, &ids, as_of - REACH, as_of).await?;
    let mut scales = Scales::default();
    let readings: HashMap<Uuid, Vec<Seen>> =
        ids.iter().map(|id| (*id, scales.seen(series.get(id).into_iter().flatten()))).collect();
    let site = permit.site();
    let background = Background::load(snapshot, permit, &readings, site.day_of(as_of)).await?;
    let mut kinds: BTreeMap<Uuid, Vec<Uuid>> = BTreeMap::new();
    for view in views {
        kinds.entry(view.taxon.id).or_default().push(view.id);
    }
    let mut found = BTreeMap::new();
    for of_kind in kinds.values() {
        let subjects: Vec<Subject<'_>> =
            of_kind.iter().map(|id| background.subject(site.zone, *id, &readings[id], None)).collect();
        let watched = companions::watch(&subjects, as_of, &records.trend);
        found.extend(of_kind.iter().copied().zip(watched.each));
    }
    Ok(found)
}

fn several_scales(herd: &[&[Seen]]) -> bool {
    let scales: BTreeSet<Scale> =
        herd.iter().flat_map(|of_one| of_one.iter()).filter_map(|r| r.scale).collect();
    scales.len() > 1
}

/// The yearly pattern of each of these kinds, where enough of their animals were weighed at the site for
/// long enough. Weeks in which one carried are left out.
async fn seasons(
    snapshot: &Snapshot,
    permit: &Permit,
    kinds: &BTreeSet<Uuid>,
    until: NaiveDate,
) -> Result<HashMap<Uuid, Season>> {
    if kinds.is_empty() {
        return Ok(HashMap::new());
    }
    let kinds: Vec<Uuid> = kinds.iter().copied().collect();
    let first = until.checked_sub_days(Days::new(SEASON_DAYS)).unwrap_or(NaiveDate::MIN);
    let weeks = traits::weekly(snapshot, permit.site().id, &kinds, first, until).await?;
    let animals: BTreeSet<Uuid> = weeks.iter().map(|week| week.animal).collect();
    let animals: Vec<Uuid> = animals.into_iter().collect();
    let behind = traits::behind(snapshot, &animals).await?;
    let mut points: BTreeMap<(Uuid, Uuid), Vec<(Day, f64)>> = BTreeMap::new();
    for week in weeks {
        let carried = behind
            .get(&week.animal)
            .is_some_and(|of_it| of_it.gravid.iter().any(|span| span.contains(week.monday)));
        if !carried {
            points.entry((week.taxon, week.animal)).or_default().push((week.monday, week.log));
        }
    }
    Ok(kinds
        .into_iter()
        .filter_map(|kind| {
            let herd = points.iter().filter(|((taxon, _), _)| *taxon == kind);
            Some((kind, Season::of_kind(herd.map(|(_, points)| points.as_slice()))?))
        })
        .collect())
}
