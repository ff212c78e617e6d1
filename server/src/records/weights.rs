//! Weights: a round is taken in, each reading with its own answer.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::concern::Concern;
use crate::model::holding::{Ended, Holding};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::weight::{
    Answer, Answered, Forecast, Method, Outcome, Reading, ReadingRefusal, Round, RoundOutcome, ScaleDrift,
    Taken, Weight,
};
use crate::records::concerns;
use crate::records::error::{Refusal, Result};
use crate::records::expected::{self, Done, Seen};
use crate::records::{Records, fresh, one_animal, refuse_on_the_road, the_one};
use crate::store::animals::{self, Lock, Reference};
use crate::store::weights::{self, NewWeight, Point, Wanted};
use crate::store::{Tx, holdings, retrying};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::expected::{Entry, Expected, Slip, Step, likely};
use holt_audit::terms::{Mass, RecordId};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// More than any land animal weighs: 20 t (the heaviest elephant on record weighed about half; from
/// memory).
pub(super) const HEAVIEST: Mass = Mass::from_mg(20_000_000_000);

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
    let known = near(tx, permit, &placed).await?;
    let fresh = refuse_known(placed, &known, &mut answers);
    let points: Vec<Point> = fresh.iter().map(|one| point_of(tx, permit, one)).collect();
    let labels = weighed(&fresh);
    let ids: Vec<Uuid> = labels.iter().map(|label| label.id).collect();
    let seen = expected::move_on(records, tx, permit, &ids, &points, false).await?;
    let drifts = drifts(&seen, &points);
    let new = answer(fresh, points, &seen, &mut answers);
    weights::append(tx, permit, &new).await?;
    let concerns = concerns::carry(tx, permit, &labels, &seen).await?;
    let answers = answers.into_iter().flatten().collect();
    Ok(RoundOutcome { answers, concerns, drifts })
}

/// What is on record of these animals on the days of a round.
async fn near(tx: &Tx, permit: &Permit, placed: &[Placed<'_>]) -> Result<HashMap<Uuid, Vec<Point>>> {
    let mut found: HashMap<Uuid, Vec<Point>> = HashMap::new();
    let days = || placed.iter().map(|one| one.on);
    let Some((first, last)) = days().min().zip(days().max()) else { return Ok(found) };
    let (first, last) = (permit.site().start_of(first), permit.site().close_of(last));
    let ids = distinct(placed.iter().map(|one| one.animal.id));
    for point in weights::series(tx, &ids, first, last).await? {
        found.entry(point.animal).or_default().push(point);
    }
    Ok(found)
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
    let meant = animals::lock(tx, permit, &references, Lock::Share).await?;
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
                "the reading is in the future".to_owned(),
                "enter it after the weighing, or correct the time (and the machine's clock)",
            );
            continue;
        }
        let mass = match reading.outcome {
            Outcome::Mass(mass) if mass.mg() <= 0 || mass > HEAVIEST => {
                answers[index] = refused(
                    Some(label),
                    Reason::MassOutOfRange,
                    "mass",
                    format!("{} kg is not the weight of an animal", mass.kg()),
                    "enter what the scale showed; if the animal declined the scale, enter that",
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
            answers[index] = match refuse_on_the_road(holdings, permit, &label, from) {
                Err(refusal) => refused_as(refusal, "weighed_at"),
                Ok(()) => not_held_then(label, holdings, permit, wanted),
            };
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
                let other = mass.map_or("it declined".to_owned(), |mass| format!("{} kg", mass.kg()));
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

/// Answers each reading by what the model says of it.
fn answer(
    fresh: Vec<Placed<'_>>,
    points: Vec<Point>,
    seen: &[Seen],
    answers: &mut [Option<Answered>],
) -> Vec<NewWeight> {
    let hints = hints(&fresh, &points, seen);
    let mut new = Vec::with_capacity(fresh.len());
    for (one, point) in fresh.into_iter().zip(points) {
        let judged = seen.iter().find_map(|seen| seen.came.judged.get(&point.id));
        let waits = judged.filter(|judged| judged.entry == Entry::Waits);
        let answer = match waits.and_then(|judged| judged.expected) {
            Some(Expected { mass, low, high, .. }) => Answer::SecondWeighing {
                weight: point.id,
                forecast: Forecast { expected: mass, low, high },
                hint: hints.get(&point.id).cloned().unwrap_or_default(),
            },
            None => Answer::Accepted { weight: point.id },
        };
        new.push(NewWeight {
            id: point.id,
            animal: point.animal,
            weighed_at: point.weighed_at,
            weighed_on: point.weighed_on,
            day_only: point.day_only,
            mass: point.mass,
            doubtful: waits.is_some(),
            scale: point.scale,
            method: one.reading.method,
            note: one.reading.note.clone(),
        });
        answers[one.index] = Some(Answered { animal: Some(one.animal), answer });
    }
    new
}

/// Scales by which all animals of the round are off.
fn drifts(seen: &[Seen], new: &[Point]) -> Vec<ScaleDrift> {
    let is_new = |done: &&Done| done.points.iter().any(|point| new.iter().any(|new| new.id == *point));
    let done = seen.iter().flat_map(|seen| &seen.came.done).filter(is_new);
    done.filter_map(|done| {
        let Step { percent, standard_error_percent, animals, .. } = done.step?;
        let animals = usize::try_from(animals).unwrap_or(usize::MAX);
        Some(ScaleDrift { scale: done.scale.clone(), percent, standard_error_percent, animals })
    })
    .collect()
}

/// What may have happened to readings that do not fit, by their identifiers: also across groups, for they
/// were entered together.
fn hints(fresh: &[Placed<'_>], points: &[Point], seen: &[Seen]) -> HashMap<Uuid, String> {
    let spoken: HashMap<Uuid, String> =
        fresh.iter().map(|one| (one.animal.id, one.animal.spoken())).collect();
    let expected = |point: &Point| seen.iter().find_map(|seen| seen.came.judged.get(&point.id))?.expected;
    let entered: Vec<(&Placed<'_>, Uuid, (RecordId, Mass, Expected))> = fresh
        .iter()
        .zip(points)
        .filter_map(|(one, point)| {
            Some((one, point.id, (expected::id(point.animal), point.mass?, expected(point)?)))
        })
        .collect();
    let all: Vec<_> = entered.iter().map(|(.., one)| *one).collect();
    let slips = entered.iter().zip(likely(&all));
    slips.filter_map(|((one, id, _), slip)| Some((*id, hint(slip?, &one.animal, &spoken)))).collect()
}

/// What may have happened to a reading that does not fit.
fn hint(slip: Slip, animal: &Label, spoken: &HashMap<Uuid, String>) -> String {
    let kg = |mass: Mass| format!("{} kg", mass.kg());
    match slip {
        Slip::GramsAsKilograms => "perhaps grams were entered as kilograms".to_owned(),
        Slip::KilogramsAsGrams => "perhaps kilograms were entered as grams".to_owned(),
        Slip::PoundsAsKilograms => "perhaps pounds were entered as kilograms".to_owned(),
        Slip::KilogramsAsPounds => "perhaps kilograms were entered as pounds".to_owned(),
        Slip::OuncesAsGrams => "perhaps ounces were entered as grams".to_owned(),
        Slip::GramsAsOunces => "perhaps grams were entered as ounces".to_owned(),
        Slip::PointTooFarRight => "perhaps the decimal point is one place too far right".to_owned(),
        Slip::PointTooFarLeft => "perhaps the decimal point is one place too far left".to_owned(),
        Slip::DigitsExchanged { meant } => {
            format!("perhaps two digits were exchanged: {} would fit", kg(meant))
        }
        Slip::AnimalsExchanged { other } => format!(
            "{} and {} may be mixed up: exchanged, both readings fit",
            animal.spoken(),
            spoken.get(&Uuid::from_u128(other.0)).map_or("another", String::as_str)
        ),
        Slip::CrateNotTared { crate_mass } => {
            format!("perhaps the crate was weighed as well: several are heavier by {}", kg(crate_mass))
        }
    }
}

fn point_of(tx: &Tx, permit: &Permit, one: &Placed<'_>) -> Point {
    Point {
        id: tx.new_id(),
        animal: one.animal.id,
        site: permit.site().id,
        weighed_at: one.at,
        weighed_on: one.on,
        day_only: matches!(one.reading.taken, Taken::On(_)),
        mass: one.mass,
        doubtful: false,
        accepted: false,
        scale: one.reading.scale.clone(),
        estimate: one.reading.method == Method::Estimate,
        recorded_at: tx.now(),
        request: tx.request_id(),
    }
}

/// Animals of which a round has new readings of a scale.
fn weighed(fresh: &[Placed<'_>]) -> Vec<Label> {
    let of_scale = fresh.iter().filter(|one| one.reading.method != Method::Estimate);
    let labels: BTreeMap<Uuid, Label> = of_scale.map(|one| (one.animal.id, one.animal.clone())).collect();
    labels.into_values().collect()
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
    let seen = expected::move_on(records, tx, permit, &held, &[], true).await?;
    concerns::carry(tx, permit, &animals, &seen).await
}

/// Refuses what is no mass of an animal.
pub(super) fn refuse_no_mass(mass: Mass) -> std::result::Result<(), Refusal> {
    if mass.mg() > 0 && mass <= HEAVIEST {
        return Ok(());
    }
    let say = format!("{} kg is not the weight of an animal", mass.kg());
    Err(Refusal::new(Reason::MassOutOfRange, say, "give what the scale showed").at("change.mass"))
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
        Some(one_animal(&snapshot, permit.as_ref(), &asked.animal, now).await?.id)
    };
    let site = permit.as_ref().map(|permit| permit.site().id);
    let wanted = Wanted { site, animal, days: asked.days };
    Ok(weights::list(&snapshot, &wanted, page).await?)
}
