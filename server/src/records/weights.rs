//! Weights: a round is taken in, each reading with its own answer.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::concern::{Concern, ConcernKind, Household};
use crate::model::holding::{Ended, Holding};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::weight::{
    Answer, Answered, Forecast, Method, Outcome, Reading, ReadingRefusal, Round, RoundOutcome, ScaleDrift,
    Taken, Weight,
};
use crate::records::background::{Background, Scales};
use crate::records::concerns::{self, Together, Watched};
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, one_animal, the_one};
use crate::store::animals::{self, Lock, Reference};
use crate::store::concerns::{Whom, last_settled};
use crate::store::placements::{self, Home};
use crate::store::weights::{self, NewWeight, Point, Wanted};
use crate::store::{Snapshot, Tx, holdings, retrying};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use holt_audit::companions;
use holt_audit::plausible::{self, Slip, Verdict, Weighed};
use holt_audit::reading::Reading as Seen;
use holt_audit::terms::Mass;
use holt_audit::trend::Subject;
use std::cell::LazyCell;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// More than any land animal weighs: 20 t (the heaviest elephant on record weighed about half; from
/// memory).
pub(super) const HEAVIEST: Mass = Mass::from_mg(20_000_000_000);

/// How far back readings matter: the trend's baseline of a year and the weeks it leaves out.
pub(crate) const REACH: TimeDelta = TimeDelta::weeks(62);

/// A reading with everything that is known of it.
struct Placed<'a> {
    index: usize,
    reading: &'a Reading,
    animal: Label,
    at: DateTime<Utc>,
    on: NaiveDate,
    mass: Option<Mass>,
}

/// Records a round at a site.
///
/// # Errors
/// Refused as a whole without the role there; what is wrong with single readings is in their answers.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    round: &Round,
) -> Result<RoundOutcome> {
    let permit = records.permit(caller, Deed::Weigh, site).await?;
    retrying("record_weights", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let outcome = take_in(records, &mut tx, &permit, round).await?;
        Ok(tx.commit(outcome).await?)
    })
    .await
}

async fn take_in(records: &Records, tx: &mut Tx, permit: &Permit, round: &Round) -> Result<RoundOutcome> {
    let mut answers: Vec<Option<Answered>> = round.readings.iter().map(|_| None).collect();
    let placed = place(tx, permit, round, &mut answers).await?;
    let ids = distinct(placed.iter().map(|one| one.animal.id));
    let earliest = placed.iter().map(|one| one.at).min().unwrap_or_else(|| tx.now());
    let mut series = weights::by_animal(tx, &ids, earliest - REACH, tx.now()).await?;
    let fresh = refuse_known(placed, &series, &mut answers);
    let (new, drifts) = judge(records, tx, permit, fresh, &mut series, &mut answers);
    weights::append(tx, permit, &new).await?;
    let concerns = watch(records, tx, permit, &weighed(&new, &answers), series).await?;
    let answers = answers.into_iter().flatten().collect();
    Ok(RoundOutcome { answers, concerns, drifts })
}

fn distinct(ids: impl Iterator<Item = Uuid>) -> Vec<Uuid> {
    let mut ids: Vec<Uuid> = ids.collect();
    ids.sort_unstable();
    ids.dedup();
    ids
}

fn refused(animal: Option<Label>, reason: Reason, field: &str, say: String, mend: &str) -> Option<Answered> {
    let refusal = ReadingRefusal { reason, field: field.to_owned(), say, mend: mend.to_owned() };
    Some(Answered { animal, answer: Answer::Refused(refusal) })
}

fn refused_as(refusal: Refusal, field: &str) -> Option<Answered> {
    refused(None, refusal.reason, field, refusal.say, &refusal.mend)
}

/// Finds the animal and the instant of each reading. Those that cannot be are answered here.
async fn place<'a>(
    tx: &Tx,
    permit: &Permit,
    round: &'a Round,
    answers: &mut [Option<Answered>],
) -> Result<Vec<Placed<'a>>> {
    let mut well: Vec<(usize, &Reading)> = Vec::with_capacity(round.readings.len());
    for (index, reading) in round.readings.iter().enumerate() {
        match reading {
            Ok(reading) => well.push((index, reading)),
            Err(refusal) => {
                answers[index] = Some(Answered { animal: None, answer: Answer::Refused(refusal.clone()) });
            }
        }
    }
    let site = permit.site();
    let noon = |day: NaiveDate| site.noon_of(day);
    let references: Vec<Reference> = well
        .iter()
        .map(|(_, reading)| Reference {
            text: reading.animal.clone(),
            at: match reading.taken {
                Taken::Now => tx.now(),
                Taken::At(at) => at,
                Taken::On(day) => noon(day).min(tx.now()),
            },
        })
        .collect();
    let meant = animals::resolve(tx, Some(permit), &references, Lock::Share).await?;
    let mut found: Vec<(usize, &Reading, Label)> = Vec::with_capacity(well.len());
    for ((index, reading), meant) in well.into_iter().zip(meant) {
        match the_one(meant, &reading.animal) {
            Ok(label) => found.push((index, reading, label)),
            Err(refusal) => answers[index] = refused_as(refusal, "animal"),
        }
    }
    let ids = distinct(found.iter().map(|(_, _, label)| label.id));
    let mut held: HashMap<Uuid, Vec<Holding>> = HashMap::new();
    for holding in holdings::of(tx, &ids).await? {
        held.entry(holding.animal).or_default().push(holding);
    }
    let mut placed = Vec::with_capacity(found.len());
    for (index, reading, label) in found {
        let holdings = held.get(&label.id).map_or(&[][..], Vec::as_slice);
        let (wanted, from, to) = match reading.taken {
            Taken::Now => (tx.now(), tx.now(), tx.now()),
            Taken::At(at) => (at, at, at),
            Taken::On(day) => (noon(day), site.start_of(day), site.close_of(day)),
        };
        if from > tx.now() {
            answers[index] = refused(
                Some(label),
                Reason::InTheFuture,
                "weighed_at",
                "the reading lies in the future".to_owned(),
                "enter it when it was taken, or correct the time (and the machine's clock)",
            );
            continue;
        }
        let mass = match reading.outcome {
            Outcome::Mass(mass) if mass.mg() <= 0 || mass > HEAVIEST => {
                answers[index] = refused(
                    Some(label),
                    Reason::MassOutOfRange,
                    "mass",
                    format!("{} kg is no mass of an animal", mass.kg()),
                    "enter what the scale showed; if the animal would not come, enter it as tried",
                );
                continue;
            }
            Outcome::Mass(mass) => Some(mass),
            Outcome::Tried => None,
        };
        let at = holdings
            .iter()
            .filter(|holding| holding.site == site.id)
            .find_map(|holding| holding.nearest(wanted, from, to.min(tx.now())));
        let Some(at) = at else {
            answers[index] = not_held_then(label, holdings, permit, wanted);
            continue;
        };
        placed.push(Placed { index, reading, animal: label, at, on: site.day_of(at), mass });
    }
    Ok(placed)
}

fn not_held_then(label: Label, known: &[Holding], permit: &Permit, at: DateTime<Utc>) -> Option<Answered> {
    let site = permit.site();
    let (spoken, day) = (label.spoken(), site.day_of(at));
    let last = known.iter().rev().find(|holding| holding.began_at <= at);
    if let Some(died) = last.filter(|last| last.ended == Some(Ended::Death)).and_then(|last| last.ended_on) {
        return refused(
            Some(label),
            Reason::AnimalDead,
            "animal",
            format!("{spoken} died on {died}"),
            "check which animal is meant, and the day",
        );
    }
    refused(
        Some(label),
        Reason::AnimalNotHeldThen,
        "animal",
        format!("{} did not hold {spoken} on {day}", site.code),
        "check which animal is meant, and the day",
    )
}

/// Answers the readings that are on record already, or contradict one that is.
fn refuse_known<'a>(
    placed: Vec<Placed<'a>>,
    series: &HashMap<Uuid, Vec<Point>>,
    answers: &mut [Option<Answered>],
) -> Vec<Placed<'a>> {
    let mut fresh: Vec<Placed<'a>> = Vec::with_capacity(placed.len());
    // Where within the round a reading of the same animal and time stands.
    let mut seen: HashMap<(Uuid, DateTime<Utc>), usize> = HashMap::new();
    for one in placed {
        let day_only = matches!(one.reading.taken, Taken::On(_));
        let known = series.get(&one.animal.id).and_then(|points| {
            points.iter().find(|point| {
                point.weighed_at == one.at || (day_only && point.day_only && point.weighed_on == one.on)
            })
        });
        let known = known.map(|point| (point.mass, Some(point.id)));
        let earlier = seen.get(&(one.animal.id, one.at)).map(|&n| (fresh[n].mass, None));
        match known.or(earlier) {
            Some((mass, Some(id))) if mass == one.mass => {
                answers[one.index] =
                    Some(Answered { animal: Some(one.animal), answer: Answer::Repeat { weight: id } });
            }
            Some((mass, _)) => {
                let other = mass.map_or("it would not come".to_owned(), |mass| format!("{} kg", mass.kg()));
                let again = if mass == one.mass { "once more" } else { "with another result" };
                answers[one.index] = refused(
                    Some(one.animal),
                    Reason::ReadingConflicts,
                    "weighed_at",
                    format!("a reading of the same time is there {again}: {other}"),
                    "give each reading its own time; a second weighing comes minutes later",
                );
            }
            None => {
                seen.insert((one.animal.id, one.at), fresh.len());
                fresh.push(one);
            }
        }
    }
    fresh
}

/// Judges each reading against what the animal was expected to weigh, and answers it. The readings join
/// the series.
fn judge(
    records: &Records,
    tx: &Tx,
    permit: &Permit,
    fresh: Vec<Placed<'_>>,
    series: &mut HashMap<Uuid, Vec<Point>>,
    answers: &mut [Option<Answered>],
) -> (Vec<NewWeight>, Vec<ScaleDrift>) {
    let mut scales = Scales::default();
    let before: HashMap<Uuid, Vec<Seen>> =
        series.iter().map(|(animal, points)| (*animal, scales.seen(points.iter()))).collect();
    let none = Vec::new();
    // An estimate is no reading of a scale: it is kept, and judged by nobody.
    let judged: Vec<usize> = fresh
        .iter()
        .enumerate()
        .filter(|(_, one)| one.mass.is_some() && one.reading.method != Method::Estimate)
        .map(|(n, _)| n)
        .collect();
    let mut verdicts: HashMap<usize, Verdict> = HashMap::new();
    let mut hints = BTreeMap::new();
    let mut drifts = Vec::new();
    for on_one_scale in by_scale(&fresh, judged) {
        let weighed: Vec<Weighed<'_>> = on_one_scale
            .iter()
            .filter_map(|&n| {
                let one = &fresh[n];
                let history = before.get(&one.animal.id).unwrap_or(&none);
                let earlier = history.partition_point(|reading| reading.at < one.at);
                Some(Weighed { history: &history[..earlier], at: one.at, mass: one.mass? })
            })
            .collect();
        let told = plausible::judge_round(&weighed, &records.plausible);
        hints.extend(exchanged(&fresh, &on_one_scale, &told));
        // Many readings of one animal are no round, and say nothing of a scale.
        let animals = distinct(on_one_scale.iter().map(|&n| fresh[n].animal.id)).len();
        let drift = told.drift.filter(|_| animals >= records.plausible.drift_animals);
        drifts.extend(drift.zip(on_one_scale.first()).map(|(drift, &first)| ScaleDrift {
            scale: fresh[first].reading.scale.clone(),
            percent: drift.percent,
            standard_error_percent: drift.standard_error_percent,
            animals,
        }));
        verdicts.extend(on_one_scale.into_iter().zip(told.each));
    }
    let mut new = Vec::with_capacity(fresh.len());
    for (n, one) in fresh.into_iter().enumerate() {
        let id = tx.new_id();
        let doubt = match verdicts.get(&n).copied() {
            Some(Verdict::AskSecond { expected, low, high, likely }) => {
                let earlier = before.get(&one.animal.id).unwrap_or(&none);
                let confirmed = one.mass.is_some_and(|mass| confirms(records, earlier, one.at, mass));
                (!confirmed).then_some((Forecast { expected, low, high }, likely))
            }
            _ => None,
        };
        let hint = hints.remove(&n);
        let answer = match &doubt {
            Some((forecast, likely)) => Answer::SecondWeighing {
                weight: id,
                forecast: *forecast,
                hint: hint.or_else(|| likely.map(slip)).unwrap_or_default(),
            },
            None => Answer::Accepted { weight: id },
        };
        let weight = NewWeight {
            id,
            animal: one.animal.id,
            weighed_at: one.at,
            weighed_on: one.on,
            day_only: matches!(one.reading.taken, Taken::On(_)),
            mass: one.mass,
            doubtful: doubt.is_some(),
            scale: one.reading.scale.clone(),
            method: one.reading.method,
            note: one.reading.note.clone(),
        };
        let points = series.entry(one.animal.id).or_default();
        let place = points.partition_point(|point| point.weighed_at <= one.at);
        points.insert(place, point_of(permit, &weight));
        answers[one.index] = Some(Answered { animal: Some(one.animal), answer });
        new.push(weight);
    }
    (new, drifts)
}

/// Readings of a round by the scale that they were taken on, whatever the capitals of its name.
fn by_scale(fresh: &[Placed<'_>], judged: Vec<usize>) -> Vec<Vec<usize>> {
    let mut scales: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for n in judged {
        scales.entry(fresh[n].reading.scale.to_lowercase()).or_default().push(n);
    }
    scales.into_values().collect()
}

/// A doubtful reading of the same mass a little before is confirmed by this one, and confirms it.
fn confirms(records: &Records, earlier: &[Seen], at: DateTime<Utc>, mass: Mass) -> bool {
    let agreement = records.plausible.agreement;
    earlier.iter().filter(|reading| reading.doubtful).any(|reading| agreement.agree(reading, at, mass))
}

/// What may have happened where a pair of readings fits far better the other way round.
fn exchanged(fresh: &[Placed<'_>], judged: &[usize], verdicts: &plausible::Round) -> BTreeMap<usize, String> {
    let mut hints = BTreeMap::new();
    for exchange in &verdicts.exchanges {
        let (one, other) = (judged[exchange.one], judged[exchange.other]);
        for (this, that) in [(one, other), (other, one)] {
            let hint = format!(
                "{} and {} may have been taken for one another: exchanged, both readings fit",
                fresh[this].animal.spoken(),
                fresh[that].animal.spoken()
            );
            hints.insert(this, hint);
        }
    }
    hints
}

fn slip(slip: Slip) -> String {
    match slip {
        Slip::GramsAsKilograms => "perhaps grams were entered as kilograms",
        Slip::KilogramsAsGrams => "perhaps kilograms were entered as grams",
        Slip::PoundsAsKilograms => "perhaps pounds were entered as kilograms",
        Slip::KilogramsAsPounds => "perhaps kilograms were entered as pounds",
        Slip::PointTooFarRight => "perhaps the decimal point is one place too far right",
        Slip::PointTooFarLeft => "perhaps the decimal point is one place too far left",
    }
    .to_owned()
}

fn point_of(permit: &Permit, weight: &NewWeight) -> Point {
    Point {
        id: weight.id,
        animal: weight.animal,
        site: permit.site().id,
        weighed_at: weight.weighed_at,
        weighed_on: weight.weighed_on,
        day_only: weight.day_only,
        mass: weight.mass,
        doubtful: weight.doubtful,
        scale: weight.scale.clone(),
        estimate: weight.method == Method::Estimate,
    }
}

/// Watches each animal that was weighed, or tried, beside those of its kind that it lives with, and raises
/// and carries on what is found.
async fn watch(
    records: &Records,
    tx: &mut Tx,
    permit: &Permit,
    animals: &[Label],
    mut series: HashMap<Uuid, Vec<Point>>,
) -> Result<Vec<Concern>> {
    let ids = distinct(animals.iter().map(|label| label.id));
    let homes = placements::homes(tx, permit, &ids).await?;
    let others: Vec<Uuid> =
        homes.iter().map(|home| home.animal_id).filter(|animal| !series.contains_key(animal)).collect();
    series.extend(weights::by_animal(tx, &others, tx.now() - REACH, tx.now()).await?);
    let everyone = distinct(ids.iter().copied().chain(homes.iter().map(|home| home.animal_id)));
    let enclosures = distinct(homes.iter().map(|home| home.enclosure_id));
    let settled = last_settled(tx, permit, &everyone, &enclosures).await?;
    let settled = |whom, kind| settled.get(&(whom, kind)).map(|settled| settled.at);
    let mut scales = Scales::default();
    let readings: HashMap<Uuid, Vec<Seen>> = everyone
        .iter()
        .map(|&id| {
            // Refusals that people have settled are known, and are no part of a row of new ones.
            let known = settled(Whom::Animal(id), ConcernKind::ScaleRefused);
            let news = |point: &&Point| point.mass.is_some() || known.is_none_or(|at| point.weighed_at > at);
            (id, scales.seen(series.get(&id).into_iter().flatten().filter(news)))
        })
        .collect();
    let background = Background::load(tx, permit, &readings, permit.site().day_of(tx.now())).await?;
    let labels: HashMap<Uuid, &Label> = animals.iter().map(|label| (label.id, label)).collect();
    let mut watched = Vec::with_capacity(ids.len());
    let mut together = Vec::new();
    for group in groups(&ids, &homes) {
        let subjects: Vec<Subject<'_>> = group
            .members
            .iter()
            .map(|id| {
                let own = settled(Whom::Animal(*id), ConcernKind::WeightTrend);
                let shared = group.home.and_then(|home| {
                    let (enclosure, taxon) = (home.enclosure_id, home.taxon_id);
                    settled(Whom::Household { enclosure, taxon }, ConcernKind::GroupWeight)
                });
                // What people accepted of the group, they accepted of each that lives in it.
                let settled = own.max(shared).map(|at| permit.site().day_of(at));
                background.subject(permit.site().zone, *id, &readings[id], settled)
            })
            .collect();
        let told = companions::watch(&subjects, tx.now(), &records.trend);
        if let Some(home) = group.home {
            let latest = told.each.iter().filter_map(|trend| trend.latest);
            together.push(Together {
                enclosure: home.enclosure_id,
                taxon: home.taxon_id,
                household: Household {
                    enclosure: home.enclosure.clone(),
                    taxon: home.scientific_name.clone(),
                },
                whole: told.whole,
                records: latest.map(|latest| Uuid::from_u128(latest.record.0)).collect(),
            });
        }
        let zone = permit.site().zone;
        let grown = LazyCell::new(|| background.grown(&group.members, &readings, zone));
        for (id, trend) in group.members.iter().zip(told.each) {
            if let Some(label) = labels.get(id).filter(|_| ids.contains(id)) {
                let stall = background.stall(*id, &readings[id], zone, || *grown);
                watched.push(Watched { animal: (*label).clone(), trend, whole: told.whole, stall });
            }
        }
    }
    watched.sort_by_key(|one| one.animal.id);
    concerns::carry(tx, permit, &watched, &together, &records.trend).await
}

/// Animals of which a round has new readings of a scale.
fn weighed(new: &[NewWeight], answers: &[Option<Answered>]) -> Vec<Label> {
    let labels: HashMap<Uuid, &Label> = answers
        .iter()
        .flatten()
        .filter_map(|one| one.animal.as_ref())
        .map(|label| (label.id, label))
        .collect();
    let ids = distinct(new.iter().filter(|new| new.method != Method::Estimate).map(|new| new.animal));
    ids.into_iter().filter_map(|id| labels.get(&id).copied().cloned()).collect()
}

/// Watches the trend of animals again whose readings were corrected or taken in from other books, where the site
/// holds them still: concerns are raised and carried on as if the readings had always been so.
pub(super) async fn watch_again(
    records: &Records,
    tx: &mut Tx,
    permit: &Permit,
    animals: &[Label],
) -> Result<Vec<Concern>> {
    let ids = distinct(animals.iter().map(|label| label.id));
    let held: Vec<Uuid> = holdings::of(tx, &ids)
        .await?
        .into_iter()
        .filter(|holding| holding.site == permit.site().id && holding.covers(tx.now()))
        .map(|holding| holding.animal)
        .collect();
    let animals: Vec<Label> = animals.iter().filter(|label| held.contains(&label.id)).cloned().collect();
    if animals.is_empty() {
        return Ok(Vec::new());
    }
    let series = weights::by_animal(tx, &held, tx.now() - REACH, tx.now()).await?;
    watch(records, tx, permit, &animals, series).await
}

/// Refuses what is no mass of an animal.
pub(super) fn refuse_no_mass(mass: Mass) -> std::result::Result<(), Refusal> {
    if mass.mg() > 0 && mass <= HEAVIEST {
        return Ok(());
    }
    let say = format!("{} kg is no mass of an animal", mass.kg());
    Err(Refusal::new(Reason::MassOutOfRange, say, "give what the scale showed").at("change.mass"))
}

/// Animals that are watched together.
struct Group<'a> {
    members: Vec<Uuid>,
    /// Where they live; none for one that lives nowhere.
    home: Option<&'a Home>,
}

/// Animals of one kind that live together, and each of `ids` that lives nowhere by itself.
fn groups<'a>(ids: &[Uuid], homes: &'a [Home]) -> Vec<Group<'a>> {
    let mut together: BTreeMap<(Uuid, Uuid), Group<'a>> = BTreeMap::new();
    for home in homes {
        let key = (home.enclosure_id, home.taxon_id);
        let group = together.entry(key).or_insert_with(|| Group { members: Vec::new(), home: Some(home) });
        group.members.push(home.animal_id);
    }
    let alone = ids.iter().filter(|id| homes.iter().all(|home| home.animal_id != **id));
    let alone: Vec<Group<'a>> = alone.map(|id| Group { members: vec![*id], home: None }).collect();
    together.into_values().chain(alone).collect()
}

/// Which readings are wanted.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// Code of the site; empty with an animal for all sites that the caller may see.
    pub site: String,
    /// Reference to one animal; empty for all of the site.
    pub animal: String,
    pub days: Option<(NaiveDate, NaiveDate)>,
    pub known_at: Option<DateTime<Utc>>,
}

/// Readings, newest first.
///
/// # Errors
/// Refused where there is no such site in scope or no such animal, or where neither is given.
pub async fn list(records: &Records, caller: &Caller, asked: &Asked, page: &Page) -> Result<Slice<Weight>> {
    let permit = if asked.site.is_empty() {
        caller.reach(Deed::Read)?;
        if asked.animal.is_empty() {
            return Err(Refusal::new(
                Reason::Malformed,
                "neither a site nor an animal is given",
                "name a site, an animal, or both",
            )
            .at("site")
            .into());
        }
        None
    } else {
        Some(records.permit(caller, Deed::Read, &asked.site).await?)
    };
    let snapshot = records.look(caller, asked.known_at).await?;
    let animal = if asked.animal.is_empty() {
        None
    } else {
        let now = records.store.now();
        Some(one_animal(&snapshot, permit.as_ref(), &asked.animal, now, Lock::None).await?.id)
    };
    let site = permit.as_ref().map(|permit| permit.site().id);
    let wanted = Wanted { site, animal, days: asked.days };
    let mut found = weights::list(&snapshot, &wanted, page).await?;
    lift_doubts(records, &snapshot, &mut found.entries).await?;
    Ok(found)
}

/// A doubtful reading that another agrees with is set aside no more.
async fn lift_doubts(records: &Records, snapshot: &Snapshot, listed: &mut [Weight]) -> Result<()> {
    let doubtful = || listed.iter().filter(|weight| weight.doubtful);
    let times = || doubtful().map(|weight| weight.weighed_at);
    let Some((first, last)) = times().min().zip(times().max()) else { return Ok(()) };
    let ids = distinct(doubtful().map(|weight| weight.animal.id));
    let agreement = records.trend.agreement;
    let reach = TimeDelta::days(agreement.days.into());
    let points = weights::series(snapshot, &ids, first - reach, last + reach).await?;
    for weight in listed.iter_mut().filter(|weight| weight.doubtful) {
        let Some(mass) = weight.mass else { continue };
        let others = points.iter().filter(|p| p.animal == weight.animal.id && p.id != weight.id);
        weight.doubtful = !Scales::default()
            .seen(others)
            .iter()
            .any(|other| agreement.agree(other, weight.weighed_at, mass));
    }
    Ok(())
}
