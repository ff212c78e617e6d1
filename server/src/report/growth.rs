//! How animals grow, what they are expected to weigh next, and the energy that they need.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Label};
use crate::model::document::{Kept, Kind};
use crate::model::growth::{Curve, Expected, ExpectedBy, Growing, Need, OfSpecies, Standing};
use crate::model::reason::Reason;
use crate::records::documents::sound;
use crate::records::error::{Refusal, Result, fault};
use crate::records::expected::{self, Seen};
use crate::records::taxa;
use crate::records::{Records, one_animal, view};
use crate::store::{Snapshot, documents, growth as store, kept, traits, weights};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use holt_audit::growth::{self, Band, Growth, Reference, SoundReference};
use holt_audit::ration;
use holt_audit::terms::{Mass, Sex};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Age in days.
fn age(born: NaiveDate, on: NaiveDate) -> f64 {
    f64::from(i32::try_from((on - born).num_days()).unwrap_or(i32::MAX))
}

/// Days between two weighings where an animal's own do not tell.
const USUAL_WAIT: u64 = 7;

/// Longer than any animal of a collection was weighed for.
const LONG_AGO: TimeDelta = TimeDelta::weeks(52 * 200);

/// An animal with its readings, and what the model says of it.
struct Weighed {
    label: Label,
    animal: Animal,
    /// Readings with a mass that are not set aside, by day.
    readings: Vec<(NaiveDate, Mass)>,
    seen: Option<Seen>,
}

async fn weighed(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    text: &str,
    now: DateTime<Utc>,
) -> Result<Weighed> {
    let label = one_animal(snapshot, Some(permit), text, now).await?;
    let animal = view(snapshot, permit, &label, now).await?;
    let points = weights::series(snapshot, &[label.id], now - LONG_AGO, now).await?;
    let site = permit.site();
    let sound = points.iter().filter(|point| !point.doubtful && !point.estimate);
    let readings = sound.filter_map(|point| Some((site.day_of(point.weighed_at), point.mass?))).collect();
    let seen = expected::look(records, snapshot, permit, &[label.id], now).await?.pop();
    Ok(Weighed { label, animal, readings, seen })
}

impl Weighed {
    /// The day of birth, where it is known to the day.
    fn born(&self) -> Option<NaiveDate> {
        self.animal.born.filter(|born| born.first == born.last && !born.estimated).map(|born| born.first)
    }

    /// Age in days and grams of each reading since birth.
    fn by_age(&self, born: NaiveDate) -> Vec<(f64, f64)> {
        self.readings
            .iter()
            .filter(|(on, _)| *on >= born)
            .map(|(on, mass)| (age(born, *on), mass.grams()))
            .collect()
    }

    /// As long after its last reading as it is usually weighed, but not before today.
    fn next_weighing(&self, today: NaiveDate) -> NaiveDate {
        let mut days: Vec<NaiveDate> = self.readings.iter().map(|(on, _)| *on).collect();
        days.dedup();
        let late = &days[days.len().saturating_sub(7)..];
        let mut waits: Vec<i64> = late.windows(2).map(|two| (two[1] - two[0]).num_days()).collect();
        waits.sort_unstable();
        let wait = waits.get(waits.len() / 2).and_then(|days| u64::try_from(*days).ok());
        let last = days.last().copied().unwrap_or(today);
        (last + Days::new(wait.unwrap_or(USUAL_WAIT))).max(today)
    }

    /// What it is expected to weigh about noon of a day.
    fn expected(&self, on: NaiveDate, at: DateTime<Utc>) -> Option<Expected> {
        // One reading tells little of the next.
        let told = self.seen.as_ref()?.expects(self.label.id, at).filter(|told| told.basis.readings > 1)?;
        let [low, high] = told.usual();
        let by = match told.basis.standing {
            holt_audit::expected::Standing::Growing => ExpectedBy::Gain,
            _ => ExpectedBy::Habit,
        };
        let readings = usize::try_from(told.basis.readings).unwrap_or(usize::MAX);
        Some(Expected { on, mass: Band { expected: told.mass, low, high }, by, readings })
    }
}

/// How an animal grows.
///
/// # Errors
/// Refused where there is no such site in scope or no such animal.
pub async fn of_animal(
    records: &Records,
    caller: &Caller,
    site: &str,
    animal: &str,
    on: Option<NaiveDate>,
) -> Result<Growing> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, None).await?;
    let now = records.store.now();
    let weighed = weighed(records, &snapshot, &permit, animal, now).await?;
    let today = permit.site().day_of(now);
    let next_on = on.unwrap_or_else(|| weighed.next_weighing(today));
    let next = weighed.expected(next_on, permit.site().noon_of(next_on));
    let latest = weighed.readings.last().copied();
    let mut standings = Vec::new();
    let mut siblings = Vec::new();
    if let Some((latest_on, mass)) = latest {
        if let Some(born) = weighed.born() {
            standings =
                standing(&snapshot, &permit, &weighed.animal, (latest_on, age(born, latest_on)), mass)
                    .await?;
        }
        siblings = beside(&snapshot, &permit, weighed.label.id, latest_on).await?;
    }
    let curve = weighed.born().and_then(|born| Growth::best(&weighed.by_age(born))).map(|told| Curve {
        shape: told.shape(),
        adult: told.adult(),
        rate_per_day: told.rate_per_day(),
        fastest_at: told.fastest_at(),
        spread_percent: told.spread_percent(),
    });
    Ok(Growing { born: weighed.animal.born, animal: weighed.label, latest, next, standings, siblings, curve })
}

/// Where a mass at an age lies on the reference curves of a kind: of each the version by which the site worked on the
/// day of the reading.
async fn standing(
    snapshot: &Snapshot,
    permit: &Permit,
    animal: &Animal,
    (on, age_days): (NaiveDate, f64),
    mass: Mass,
) -> Result<Vec<Standing>> {
    let all: Vec<Kept<Reference>> = kept::all(snapshot).await?;
    let in_use = documents::in_use(snapshot, permit, on).await?;
    let mut told = Vec::new();
    for used in in_use.into_iter().filter(|used| used.kind == Kind::GrowthReference) {
        let is_used = |one: &&Kept<Reference>| {
            one.document.code == used.code && i64::from(one.document.version) == i64::from(used.version)
        };
        let Some(reference) = all.iter().find(is_used).map(|kept| kept.document.clone()) else { continue };
        if reference.species != animal.taxon.scientific_name {
            continue;
        }
        let reference: SoundReference = sound(reference)?;
        let Some(lms) = reference.at(age_days).filter(|_| reference.is_for(animal.sex)) else { continue };
        let (Some(z), Some(z_linear_tails)) = (lms.z(mass.grams()), lms.z_linear_tails(mass.grams())) else {
            continue;
        };
        told.push(Standing {
            code: reference.code.clone(),
            version: reference.version,
            basis: used.basis,
            source: reference.source.clone(),
            age_days,
            z,
            z_linear_tails,
            median: Mass::from_grams(lms.m),
        });
    }
    Ok(told)
}

/// The young of its litter beside one another on a day.
async fn beside(
    snapshot: &Snapshot,
    permit: &Permit,
    animal: Uuid,
    on: NaiveDate,
) -> Result<Vec<(Label, Mass, growth::Sibling)>> {
    let young = store::litter(snapshot, permit, animal, on).await?;
    let masses: Vec<Option<Mass>> = young.iter().map(|one| one.mass).collect();
    let told = growth::siblings(&masses);
    Ok(young.into_iter().zip(told).filter_map(|(one, told)| Some((one.animal, one.mass?, told?))).collect())
}

/// How the animals of a species grow, from the history of a site.
///
/// # Errors
/// Refused where there is no such site in scope or no such species.
pub async fn of_species(
    records: &Records,
    caller: &Caller,
    site: &str,
    taxon: &str,
    only: Option<Sex>,
) -> Result<OfSpecies> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, None).await?;
    let taxon = taxa::one(&snapshot, taxon).await?;
    let mut herd: BTreeMap<Uuid, Vec<(f64, f64)>> = BTreeMap::new();
    for one in store::aged(&snapshot, &permit, taxon.id, only).await? {
        herd.entry(one.animal).or_default().push((f64::from(one.days), one.mass.grams()));
    }
    drop(snapshot);
    let herd: Vec<Vec<(f64, f64)>> = herd.into_values().collect();
    let animals = herd.len();
    // Seconds of work in which no other call should wait.
    let told = tokio::task::spawn_blocking(move || growth::of_kind(&herd));
    let told = told.await.map_err(|error| fault(error.to_string()))?;
    Ok(OfSpecies { told, animals })
}

/// The energy that an animal needs by its latest mass and what is said of its species, and how a diet of so
/// many kcal a day compares.
///
/// # Errors
/// Refused where there is no such site in scope or no such animal, where it was never weighed, or where
/// nobody has said what its kind needs.
pub async fn need(
    records: &Records,
    caller: &Caller,
    site: &str,
    animal: &str,
    offered: Option<f64>,
) -> Result<Need> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, None).await?;
    let weighed = weighed(records, &snapshot, &permit, animal, records.store.now()).await?;
    let species = &weighed.animal.taxon;
    let said = traits::all(&snapshot).await?.remove(&species.id);
    let Some((energy, source)) = said.and_then(|said| Some((said.energy?, said.source))) else {
        return Err(Refusal::new(
            Reason::Malformed,
            format!("the energy need of {} is not recorded", species.scientific_name),
            "a registrar records it: energy at rest, and the usual multiples in keeping",
        )
        .at("animal")
        .into());
    };
    let (on, latest) = weighed.readings.last().copied().ok_or_else(|| {
        Refusal::new(
            Reason::Malformed,
            format!("{} was never weighed", weighed.label.spoken()),
            "weigh it first",
        )
        .at("animal")
    })?;
    let need = (energy.low, energy.high);
    let told = ration::judge(latest, energy.rest_kcal, need, offered.unwrap_or_default(), None).map_err(
        |refused| Refusal::new(Reason::Malformed, refused.to_string(), "give kcal a day, 0 or more"),
    )?;
    Ok(Need {
        animal: weighed.label,
        mass: latest,
        on,
        rest: ration::at_rest(latest, energy.rest_kcal),
        low: told.need_low,
        high: told.need_high,
        source,
        verdict: offered.map(|_| told.verdict),
    })
}
