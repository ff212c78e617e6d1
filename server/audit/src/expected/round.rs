//! One round of a group: each reading is judged among the others, and what it shows is taken in.

use super::animal::{Animal, Around, Seen};
use super::answer::{Entry, Judgement, Weighing};
use super::doubt::Odd;
use super::group::{Group, expected, known_life, loss, sought, weeks, whose};
use super::known::{Known, Lessons, Offset};
use super::rate::{Look, Whose};
use super::slips::{self, Entered, Slip};
use super::stage::Stage;
use super::together::{Like, Off, Part, Shared};
use crate::stats::median_mad;
use crate::terms::RecordId;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What a round comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Advanced {
    /// The group as it is now.
    pub group: Group,
    /// One answer for each reading, in the order given; none for one of an animal that never joined, or without a
    /// mass above nothing.
    pub judgements: Vec<Option<Judgement>>,
    /// What it taught of the kind.
    pub lessons: Lessons,
    /// All of it is off by much the same factor.
    pub step: Option<Step>,
}

/// All grown animals of a round that were on one scale are off by much the same factor: the scale, its tare, or something
/// that happened to all of them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Median deviation from what was expected, in %.
    pub percent: f64,
    /// Standard error of that, in %: of the readings, and of what was foreseen of all of them.
    pub standard_error_percent: f64,
    /// Animals that it rests on.
    pub animals: u32,
    /// Which scale, if that was noted.
    pub scale: Option<RecordId>,
}

/// Animals that show a step, the smallest, in ln mass, that is worth saying, and how sure it must be, in standard
/// errors.
const STEP_ANIMALS: usize = 5;
const STEP: f64 = 0.02;
const STEP_SURE: f64 = 3.0;

/// The scale of those that were weighed on none that was noted.
const UNNOTED: RecordId = RecordId(0);

/// Readings from which on an animal teaches something of its kind.
const TEACHES_FROM: u32 = 4;

/// One reading with what is known beside it.
struct Item<'a> {
    place: usize,
    weighing: &'a Weighing,
    at: f64,
    log: f64,
    around: Around,
    scale: RecordId,
    offset: Offset,
    /// Variance of scale and counting.
    beside: f64,
}

/// Scales as they are known, with what this round taught of them.
struct Scales<'a> {
    known: &'a Known,
    /// Each as it was known before, and by now.
    here: BTreeMap<RecordId, [Offset; 2]>,
}

impl Scales<'_> {
    fn of(&mut self, scale: RecordId) -> Offset {
        let is_first = self.here.is_empty();
        self.here.entry(scale).or_insert_with(|| [self.known.scale(scale, is_first); 2])[1]
    }
}

/// Moves a group on by one round: its readings of about one morning, in order of time.
#[must_use]
pub fn advance(mut group: Group, round: &[Weighing], known: &Known) -> Advanced {
    let mut lessons = Lessons::default();
    let mut judgements = vec![None; round.len()];
    let mut scales = Scales { known, here: BTreeMap::new() };
    let steps = [Like::Grown, Like::Growing]
        .map(|which| half(&mut group, which, round, &mut scales, &mut lessons, &mut judgements));
    lessons.scales = scales.here.into_iter().collect();
    Advanced { group, judgements, lessons, step: steps[0] }
}

/// Those of a round that are grown, or that grow.
fn half(
    group: &mut Group,
    which: Like,
    round: &[Weighing],
    scales: &mut Scales<'_>,
    lessons: &mut Lessons,
    judgements: &mut [Option<Judgement>],
) -> Option<Step> {
    let known = scales.known;
    let (new, items): (Vec<Item<'_>>, Vec<Item<'_>>) = items(group, which, round, scales)
        .into_iter()
        .partition(|item| group.members.get(&item.weighing.animal).is_none_or(|one| one.animal.is_none()));
    let at = new.iter().chain(&items).map(|item| item.at).reduce(f64::max)?;
    let offs: Vec<Off> = items.iter().map(|item| off(group, item)).collect();
    let mut shared =
        group.shared.remove(&which).unwrap_or_else(|| Shared::new(which, at, known.kind.seasonal));
    let animals = new.len() + items.len();
    let step = stepped(&items, &offs, shared.foresees(at, animals));
    let parts = shared.of_each(at, animals, &offs);
    let slips = likely(group, &items, &parts);
    let beside = u32::try_from(items.len().saturating_sub(1)).unwrap_or(u32::MAX);
    let mut together = Vec::new();
    for (((item, part), off), slip) in items.iter().zip(&parts).zip(&offs).zip(slips) {
        let Some(member) = group.members.get_mut(&item.weighing.animal) else { continue };
        let Some(animal) = &mut member.animal else { continue };
        let seen = item.seen(part);
        let weeks = item.at - animal.read_at;
        let fits = animal.fits(&seen, &item.around);
        let expected = expected(&fits, animal, known, beside);
        let again = slip.is_some_and(Slip::is_made_again);
        let odd = Odd { slip: again, accepted: item.weighing.accepted };
        let entry = animal.takes(&seen, fits.has(item.weighing.mass), odd, &item.around);
        if entry != Entry::Waits {
            let sought = sought(animal);
            let odds = sought.map_or(0.0, |loss| loss.odds);
            let whose = whose(animal);
            lessons.looks.push(Look::new(whose, &mut animal.peak, odds, weeks));
            animal.follows(sought.filter(|loss| known.is_told(known.a_year(whose, loss.odds))).as_ref());
        }
        if entry == Entry::Taken {
            teaches(animal, &item.around, lessons);
            if !matches!(animal.stage, Stage::Carrying { .. } | Stage::Resting { .. }) {
                together.push((item.scale, *off));
            }
        }
        let likely = slip.filter(|_| entry == Entry::Waits);
        let loss = loss(animal, known).filter(|loss| loss.told);
        judgements[item.place] =
            Some(Judgement { animal: item.weighing.animal, expected: Some(expected), entry, likely, loss });
    }
    let corrections = learn_scales(shared.foresees(at, animals), &items, &offs, scales);
    let together: Vec<Off> = together
        .into_iter()
        .map(|(scale, off)| Off { log: off.log - corrections.get(&scale).unwrap_or(&0.0), ..off })
        .collect();
    let weeks = at - shared.at;
    let scale =
        items.first().map(|item| item.scale).filter(|scale| items.iter().all(|one| one.scale == *scale));
    shared.takes(at, animals, &together, scale);
    if which == Like::Grown {
        let odds = shared.sought().map_or(0.0, |loss| loss.odds);
        lessons.looks.push(Look::new(Whose::Group, &mut shared.peak, odds, weeks));
    }
    let (part, alone) = (shared.foresees(at, animals), shared.is_alone(animals));
    group.shared.insert(which, shared);
    for item in new {
        let Some(member) = group.members.get_mut(&item.weighing.animal) else { continue };
        let first = Animal::first(known_life(member.life), &item.seen(&part), &item.around, alone);
        member.animal.get_or_insert(first);
        let animal = item.weighing.animal;
        judgements[item.place] =
            Some(Judgement { animal, expected: None, entry: Entry::First, likely: None, loss: None });
    }
    step
}

/// What all on the scale of a round that most were on are off by, where it is more than was foreseen of all of them and
/// more than chance.
fn stepped(items: &[Item<'_>], offs: &[Off], foreseen: Part) -> Option<Step> {
    let mut scales: BTreeMap<RecordId, Vec<&Off>> = BTreeMap::new();
    for (item, off) in items.iter().zip(offs) {
        scales.entry(item.scale).or_default().push(off);
    }
    let (scale, offs) = scales.into_iter().max_by_key(|(_, offs)| offs.len())?;
    if offs.len() < STEP_ANIMALS {
        return None;
    }
    let mut logs: Vec<f64> = offs.iter().map(|off| off.log - foreseen.mean).collect();
    let middle = median_mad::median(&mut logs)?;
    let one_side = logs.iter().filter(|log| log.signum() == middle.signum()).count();
    let spread = median_mad::mad(&mut logs, middle)? * median_mad::NORMAL_CONSISTENCY;
    let animals = u32::try_from(offs.len()).unwrap_or(u32::MAX);
    // A chance agreement of a few must not look exact.
    let usual = offs.iter().map(|off| off.variance.sqrt()).sum::<f64>() / f64::from(animals);
    let error = (1.2533 * spread.max(usual) / f64::from(animals).sqrt()).hypot(foreseen.variance.sqrt());
    let told = middle.abs() >= STEP && middle.abs() >= STEP_SURE * error && 5 * one_side >= 4 * offs.len();
    told.then(|| Step {
        percent: 100.0 * middle.exp_m1(),
        standard_error_percent: 100.0 * error,
        animals,
        scale: Some(scale).filter(|scale| *scale != UNNOTED),
    })
}

impl Item<'_> {
    /// The reading freed of the scale and of what its like share.
    fn seen(&self, part: &Part) -> Seen {
        Seen {
            at: self.at,
            shown: self.log,
            log: self.log - self.offset.mean - part.mean,
            variance: self.beside + part.variance,
        }
    }
}

/// The readings of those that are grown, or grow; time passes for their animals up to them.
fn items<'a>(
    group: &mut Group,
    which: Like,
    round: &'a [Weighing],
    scales: &mut Scales<'_>,
) -> Vec<Item<'a>> {
    let mut items = Vec::new();
    for (place, weighing) in round.iter().enumerate().filter(|(_, one)| one.mass.mg() > 0) {
        let Some(member) = group.members.get(&weighing.animal) else { continue };
        let life = known_life(member.life);
        let around = group.around(scales.known, life.sex, weighing.animal);
        let at = weeks(weighing.at);
        if life.is_young(at, &around) != (which == Like::Growing) {
            continue;
        }
        let scale = weighing.scale.unwrap_or(UNNOTED);
        let offset = scales.of(scale);
        let step = weighing.step.map_or(0.0, |step| step.grams() / weighing.mass.grams());
        let beside = offset.variance + step * step / 12.0;
        let log = weighing.mass.grams().ln();
        items.push(Item { place, weighing, at, log, around, scale, offset, beside });
    }
    let apart = items.first().map_or(0.0, |first| group.apart(first.at));
    for item in &items {
        let member = group.members.get_mut(&item.weighing.animal);
        if let Some(animal) = member.and_then(|one| one.animal.as_mut()) {
            animal.reaches(item.at, &item.around, apart);
        }
    }
    items
}

/// How far a reading lies off what is expected of its animal alone.
fn off(group: &Group, item: &Item<'_>) -> Off {
    let animal = group.members.get(&item.weighing.animal).and_then(|one| one.animal.as_ref());
    let (expected, variance) = animal.map_or((item.log, 1.0), |animal| animal.foresees(&item.around));
    Off { log: item.log - item.offset.mean - expected, variance: variance + item.beside }
}

/// What explains the readings that do not fit.
fn likely(group: &Group, items: &[Item<'_>], parts: &[Part]) -> Vec<Option<Slip>> {
    let entered: Vec<Entered> = items
        .iter()
        .zip(parts)
        .filter_map(|(item, part)| {
            let animal = group.members.get(&item.weighing.animal)?.animal.as_ref()?;
            let fits = animal.fits(&item.seen(part), &item.around);
            Some(Entered { animal: item.weighing.animal, mass: item.weighing.mass, fits })
        })
        .collect();
    slips::of_round(&entered)
}

/// What an animal teaches of its kind by a reading.
fn teaches(animal: &Animal, around: &Around, lessons: &mut Lessons) {
    if animal.readings < TEACHES_FROM {
        return;
    }
    match animal.stage {
        Stage::Growing => {
            lessons
                .paces
                .extend(around.grown.map(|grown| ((animal.level() - grown).min(0.0), animal.slope())));
        }
        Stage::Grown => {
            lessons.pairs.extend(animal.pairs());
            lessons.grown.push((animal.life.sex, animal.level()));
        }
        _ => {}
    }
}

/// What each scale of a round shows more than was foreseen: taken in, and given as what was added.
fn learn_scales(
    foreseen: Part,
    items: &[Item<'_>],
    offs: &[Off],
    scales: &mut Scales<'_>,
) -> BTreeMap<RecordId, f64> {
    let mut sums: BTreeMap<RecordId, (f64, f64)> = BTreeMap::new();
    for (item, off) in items.iter().zip(offs) {
        let (sum, weight) = sums.entry(item.scale).or_default();
        *sum += off.log / off.variance;
        *weight += off.variance.recip();
    }
    let mut added = BTreeMap::new();
    for (scale, (sum, weight)) in sums {
        let Some([_, offset]) = scales.here.get_mut(&scale) else { continue };
        let gain = offset.variance / (offset.variance + foreseen.variance + weight.recip());
        let more = gain * (sum / weight - foreseen.mean);
        offset.mean += more;
        offset.variance *= 1.0 - gain;
        added.insert(scale, more);
    }
    added
}
