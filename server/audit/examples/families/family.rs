//! Who is born, joins, carries, leaves and dies at a site, and what is entered of that.

use crate::chance::{between, week_of, whole};
use crate::life::{Dip, Life};
use crate::rule::{Fact, Rest};
use crate::shape::Breeding;
use crate::world::{Animal, WEEKS, World, start_of};
use chrono::TimeDelta;
use holt_audit::chance::Chance;
use holt_audit::terms::{Day, Sex};

/// Something that is entered in a week.
pub(crate) type Event = (usize, Fact);

/// Most animals of a group, above its first adults.
const CROWD: usize = 8;

/// Lets five years pass; `noted` where the keepers note who moults and is in rut.
pub(crate) fn live(chance: &mut Chance, world: &mut World, noted: bool) -> Vec<Event> {
    let mut events = Vec::new();
    for group in 0..world.shape.groups {
        begin(chance, world, group, &mut events);
    }
    let mates_in = week_of(world.species.mates_at);
    for week in 0..WEEKS {
        for group in 0..world.shape.groups {
            if world.shape.breeding != Breeding::None && week % 52 == mates_in {
                mate(chance, world, group, week, &mut events);
            }
            leave(chance, world, group, week, &mut events);
        }
    }
    for animal in 0..world.animals.len() {
        let Animal { joins, leaves, .. } = world.animals[animal];
        if leaves < WEEKS {
            events.push((leaves, Fact::Leaves { animal }));
        }
        if noted {
            let life = &world.animals[animal].life;
            let there = |week: &usize| (joins..leaves).contains(week);
            for (dips, how) in [(&life.moults, Rest::Moult), (&life.ruts, Rest::Rut)] {
                for Dip { from, long, .. } in dips.iter().filter(|dip| dip.from >= 0.0) {
                    let (begun, over) = (week_of(from + 1.0), week_of(from + long));
                    if there(&begun) {
                        events.push((begun, Fact::Rests { animal, how, begins: true }));
                        events.push((over, Fact::Rests { animal, how, begins: false }));
                    }
                }
            }
        }
    }
    // In the order of entry; who joins is there before anything else is said of it.
    events.sort_by_key(|(week, fact)| (*week, !matches!(fact, Fact::Joins { .. })));
    events
}

fn day(moment: f64) -> Day {
    #[expect(clippy::cast_possible_truncation, reason = "days of some years")]
    let days = (moment * 7.0).floor() as i64;
    (start_of(0) + TimeDelta::days(days)).date_naive()
}

/// Adds an animal that joins in a week.
fn join(
    world: &mut World,
    group: usize,
    life: Life,
    joins: usize,
    told: (Option<Day>, Option<usize>),
    events: &mut Vec<Event>,
) -> usize {
    let animal = world.animals.len();
    let (born, dam) = told;
    events.push((joins, Fact::Joins { animal, group, born, sex: life.sex, dam }));
    world.animals.push(Animal { group, life, joins, leaves: usize::MAX });
    animal
}

/// An adult, or one that still grows where those who arrive do.
fn grown(chance: &mut Chance, world: &World, week: f64, sex: Sex, still_grows: bool) -> Life {
    let age = if still_grows { between(chance, 0.25, 0.6) } else { between(chance, 1.3, 5.0) };
    let born = week - age * world.species.grown_at;
    Life::drawn(chance, &world.shape, &world.species, sex, born, WEEKS as f64)
}

/// Those of the first week.
fn begin(chance: &mut Chance, world: &mut World, group: usize, events: &mut Vec<Event>) {
    let mut dam = None;
    for place in 0..world.shape.adults {
        let sex = if place % 2 == 0 { Sex::Female } else { Sex::Male };
        let life = grown(chance, world, 0.0, sex, false);
        let born = chance.happens(0.5).then(|| day(life.born));
        let animal = join(world, group, life, 0, (born, None), events);
        dam = dam.or(Some(animal));
    }
    let age = world.species.weighed_from + between(chance, 0.0, 4.0);
    for _ in 0..world.shape.young {
        young(chance, world, group, -age, 0, dam, events);
    }
    if let Some(dam) = dam.filter(|_| world.shape.carrying) {
        let from = -between(chance, 0.2, 0.5) * world.species.carries;
        conceive(chance, world, dam, from, events);
    }
}

/// One of a litter that is weighed from a week on.
fn young(
    chance: &mut Chance,
    world: &mut World,
    group: usize,
    born: f64,
    joins: usize,
    dam: Option<usize>,
    events: &mut Vec<Event>,
) {
    let sex = if chance.happens(0.5) { Sex::Female } else { Sex::Male };
    let life = Life::drawn(chance, &world.shape, &world.species, sex, born, WEEKS as f64);
    let animal = join(world, group, life, joins, (Some(day(born)), dam), events);
    let gone = if chance.happens(0.12) {
        between(chance, 8.0, 60.0)
    } else if chance.happens(0.7) {
        between(chance, 0.9, 2.0) * world.species.grown_at
    } else {
        f64::INFINITY
    };
    if gone.is_finite() {
        world.animals[animal].leaves = week_of(born + gone).max(joins + 1);
    }
}

/// The females that breed this year.
fn mate(chance: &mut Chance, world: &mut World, group: usize, week: usize, events: &mut Vec<Event>) {
    let females: Vec<usize> = (0..world.animals.len())
        .filter(|&animal| {
            let one = &world.animals[animal];
            let ready = one.life.is_grown(&world.species, week as f64);
            one.group == group && one.is_there(week) && one.life.sex == Sex::Female && ready
        })
        .collect();
    // A family has one breeding female, or two.
    let family = world.shape.breeding == Breeding::Family;
    let some = if family { whole(chance, 1, 3) } else { females.len() };
    for dam in females.into_iter().take(some) {
        let busy = world.animals[dam].life.pregnancies.last().is_some_and(|one| one.is_busy(week as f64));
        if busy || !chance.happens(if family { 0.8 } else { 0.35 }) {
            continue;
        }
        let from = week as f64 + between(chance, 0.0, 8.0);
        conceive(chance, world, dam, from, events);
    }
}

fn conceive(chance: &mut Chance, world: &mut World, dam: usize, from: f64, events: &mut Vec<Event>) {
    let species = world.species.clone();
    let pregnancy = world.animals[dam].life.conceives(chance, &species, from);
    let breeding = world.shape.breeding;
    if breeding == Breeding::Family && chance.happens(0.5) {
        let noted = week_of(between(chance, 0.3, 0.7) * species.carries + from.max(0.0));
        let leaves = world.animals[dam].leaves;
        if (noted as f64) < pregnancy.until && noted < leaves {
            events.push((noted, Fact::Carries { animal: dam }));
            if pregnancy.lost {
                events.push((week_of(pregnancy.until + 2.0), Fact::CarriesNoMore { animal: dam }));
            }
        }
    }
    if pregnancy.lost || breeding == Breeding::Unrecorded {
        return;
    }
    let born = pregnancy.until;
    let on = week_of(born);
    if born < 0.0 || on >= WEEKS || on >= world.animals[dam].leaves {
        return;
    }
    events.push((on, Fact::Litter { dam, on: day(born) }));
    if breeding == Breeding::Family {
        let joins = week_of((born + species.weighed_from).ceil());
        let group = world.animals[dam].group;
        for _ in 0..whole(chance, 2, 5) {
            if joins < WEEKS {
                young(chance, world, group, born, joins, Some(dam), events);
            }
        }
    }
}

/// Some leave or die, and others come; where it gets too crowded, the oldest of the young go.
fn leave(chance: &mut Chance, world: &mut World, group: usize, week: usize, events: &mut Vec<Event>) {
    let there = |world: &World| -> Vec<usize> {
        (0..world.animals.len())
            .filter(|&animal| world.animals[animal].group == group && world.animals[animal].is_there(week))
            .collect()
    };
    let mut present = there(world);
    for animal in present.clone() {
        let life = &world.animals[animal].life;
        let busy = life.pregnancies.last().is_some_and(|one| one.is_busy(week as f64));
        let grown = life.is_grown(&world.species, week as f64) && !busy;
        if grown && week > world.animals[animal].joins && chance.happens(world.shape.turnover / 52.0) {
            world.animals[animal].leaves = week;
            present.retain(|other| *other != animal);
        }
    }
    let crowd = world.shape.adults + CROWD;
    let raised: Vec<usize> = present
        .iter()
        .copied()
        .filter(|&animal| {
            world.animals[animal].life.born > -world.species.weighed_from - 5.0
                && world.animals[animal].joins < week
        })
        .collect();
    for &animal in raised.iter().take(present.len().saturating_sub(crowd)) {
        world.animals[animal].leaves = week;
    }
    let adults =
        present.iter().filter(|&&one| world.animals[one].life.is_grown(&world.species, week as f64)).count();
    let growing = present.len() - adults;
    let wanting = if world.shape.family { adults } else { adults + growing } < world.shape.adults;
    if wanting && chance.happens(0.12) {
        let sex = if chance.happens(0.5) { Sex::Female } else { Sex::Male };
        let life = grown(chance, world, week as f64, sex, world.shape.growers);
        let born = chance.happens(0.6).then(|| day(life.born));
        join(world, group, life, week, (born, None), events);
    }
}
