//! A site with its groups over five years: who was there, what was entered and what was true.

use crate::chance::{between, normal, tailed, week_of, whole};
use crate::family::{self, Event};
use crate::life::{Life, Species};
use crate::rule::{Fact, Kind, Scale, Weighing};
use crate::shape::Shape;
use chrono::{TimeDelta, TimeZone, Utc};
use holt_audit::chance::Chance;
use holt_audit::terms::{Day, Instant, Mass};

/// Weeks on record.
pub(crate) const WEEKS: usize = 260;
/// What a cold morning or a late feed does to all of a group, in ln mass.
pub(crate) const MORNINGS: f64 = 0.008;
/// Part of its grown weight below which a young animal stands on a finer scale.
const SMALL: f64 = 0.3;

/// An animal of the site.
#[derive(Clone, Debug)]
pub(crate) struct Animal {
    pub(crate) group: usize,
    pub(crate) life: Life,
    /// Week in which it joins, and first week in which it is there no more.
    pub(crate) joins: usize,
    pub(crate) leaves: usize,
}

impl Animal {
    pub(crate) fn is_there(&self, week: usize) -> bool {
        (self.joins..self.leaves).contains(&week)
    }
}

/// An attempt to weigh an animal.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Attempt {
    pub(crate) animal: usize,
    pub(crate) at: Instant,
    /// The same in weeks.
    pub(crate) moment: f64,
    /// ln grams that the scale would show on average.
    pub(crate) right: f64,
    /// What a first and a second weighing err by.
    errs: [f64; 2],
    /// ln of the factor by which the first is entered wrongly.
    pub(crate) slip: f64,
    pub(crate) refused: bool,
    /// The keeper would weigh it again if asked to.
    pub(crate) again: bool,
    /// By how much the scale shows more, in ln mass.
    pub(crate) more: f64,
    scale: Scale,
    /// What the scale counts in, grams.
    step: f64,
}

impl Attempt {
    /// As it is entered, with a loss in ln mass; `again` where it is weighed a second time a day later.
    pub(crate) fn entered(&self, lost: f64, again: bool) -> Weighing {
        let log = self.right + lost + if again { self.errs[1] } else { self.errs[0] + self.slip };
        let shown = (log.exp() / self.step).round().max(1.0) * self.step;
        Weighing {
            animal: self.animal,
            at: self.at + TimeDelta::days(i64::from(again)),
            mass: (!self.refused).then(|| Mass::from_grams(shown)),
            scale: self.scale,
            step: Mass::from_grams(self.step),
        }
    }
}

/// What is entered in a week.
#[derive(Clone, Debug, Default)]
pub(crate) struct Week {
    pub(crate) facts: Vec<(Fact, Day)>,
    pub(crate) attempts: Vec<Attempt>,
}

/// A site.
#[derive(Clone, Debug)]
pub(crate) struct World {
    pub(crate) shape: Shape,
    pub(crate) kind: Kind,
    pub(crate) species: Species,
    pub(crate) animals: Vec<Animal>,
    pub(crate) weeks: Vec<Week>,
    /// Groups and weeks in which the feed got worse: all of them lose then, and people should hear of it.
    pub(crate) poor_feed: Vec<(usize, usize)>,
    /// Weeks in which a scale was replaced and nobody said so.
    pub(crate) scale_steps: Vec<usize>,
    seasons: Vec<[f64; 2]>,
    phase: f64,
    second: f64,
    swing: f64,
}

/// A scale: what it is known by, by how much it shows more in ln mass, from which week on.
struct Balance {
    number: u32,
    more: f64,
    from: usize,
}

impl World {
    pub(crate) fn new(shape: &Shape, seed: u64) -> Self {
        let mut chance = Chance::seeded(seed);
        let chance = &mut chance;
        let species = Species::drawn(chance, shape);
        let kind = Kind {
            seasonal: shape.seasonal,
            gestation_days: Some((7.0 * species.carries).round()).map(|days| week_of(days) as i64),
            breeds_from_days: week_of(7.0 * species.grown_at) as i64,
        };
        let mut world = Self {
            shape: *shape,
            kind,
            species,
            animals: Vec::new(),
            weeks: vec![Week::default(); WEEKS],
            poor_feed: Vec::new(),
            scale_steps: Vec::new(),
            // No year is like the other: its season comes sooner or later, and is strong or weak.
            seasons: (0..WEEKS / 52 + 3)
                .map(|_| [normal(chance, 0.03), 1.0 + normal(chance, 0.15)])
                .collect(),
            phase: between(chance, 0.0, 1.0),
            second: between(chance, -0.3, 0.3),
            swing: between(chance, shape.season[0], shape.season[1]),
        };
        let noted = chance.happens(0.5);
        let feeds = world.feeds(chance, noted);
        let scales = world.scales(chance);
        for event in family::live(chance, &mut world, noted) {
            world.happens(event);
        }
        world.weigh(chance, &feeds, &scales);
        for week in &mut world.weeks {
            week.facts.sort_by_key(|(_, on)| *on);
        }
        world
    }

    /// The true weight of an animal in a week, apart from scale, feed and noise.
    pub(crate) fn log(&self, animal: usize, week: f64) -> f64 {
        self.animals[animal].life.log(&self.species, |at| self.season(at), week)
    }

    fn season(&self, week: f64) -> f64 {
        let at = week / 52.18 + 1.0;
        let year = &self.seasons[week_of(at).min(self.seasons.len() - 2)..];
        let along = at.fract();
        let [late, strong] =
            std::array::from_fn(|part| (1.0 - along) * year[0][part] + along * year[1][part]);
        let turn = std::f64::consts::TAU * (at + self.phase + late);
        strong * self.swing * (turn.sin() + self.second * (2.0 * turn).cos())
    }

    fn happens(&mut self, (week, fact): Event) {
        if let Some(held) = self.weeks.get_mut(week) {
            held.facts.push((fact, start_of(week).date_naive()));
        }
    }

    /// How much less, or more, each group weighs by its feed, week by week.
    fn feeds(&mut self, chance: &mut Chance, noted: bool) -> Vec<Vec<f64>> {
        (0..self.shape.groups)
            .map(|group| {
                let mut level = vec![0.0; WEEKS];
                let mut poor = false;
                for week in 30..WEEKS {
                    if !chance.happens(self.shape.feeds / 52.0) {
                        continue;
                    }
                    poor = !poor;
                    let step = if poor { -0.06_f64 } else { 0.06 };
                    for (past, level) in level[week..].iter_mut().enumerate() {
                        *level += step * (past as f64 / 3.0).min(1.0);
                    }
                    if poor {
                        self.poor_feed.push((group, week));
                    }
                    if noted {
                        self.happens((week, Fact::Feed { group }));
                    }
                }
                level
            })
            .collect()
    }

    /// The scales in use: the usual one with those that replaced it, then the others.
    fn scales(&mut self, chance: &mut Chance) -> Vec<Vec<Balance>> {
        let mut usual = vec![Balance { number: 0, more: 0.0, from: 0 }];
        let mut next = 10;
        if self.shape.replaced_years > 0.0 {
            for week in 26..WEEKS {
                if chance.happens(1.0 / (52.0 * self.shape.replaced_years)) {
                    let side = if chance.happens(0.5) { 1.0 } else { -1.0 };
                    let number = if self.shape.said { next } else { 0 };
                    usual.push(Balance { number, more: side * between(chance, 0.01, 0.03), from: week });
                    next += 1;
                    if !self.shape.said {
                        self.scale_steps.push(week);
                    }
                }
            }
        }
        let mut scales = vec![usual];
        for number in 1..u32::try_from(self.shape.scales).unwrap_or(1) {
            scales.push(vec![Balance { number, more: normal(chance, 0.015), from: 0 }]);
        }
        // The finer one for the small.
        scales.push(vec![Balance { number: 9, more: normal(chance, 0.008), from: 0 }]);
        scales
    }

    /// Every attempt to weigh.
    fn weigh(&mut self, chance: &mut Chance, feeds: &[Vec<f64>], scales: &[Vec<Balance>]) {
        let shape = self.shape;
        let adult = self.species.log.exp();
        let step = adult * between(chance, shape.step[0], shape.step[1]);
        // Half of the keepers come once a week and weigh nobody twice.
        let weighs_again = if chance.happens(0.5) { 0.8 } else { 0.0 };
        let mornings: Vec<Vec<f64>> =
            (0..shape.groups).map(|_| (0..WEEKS).map(|_| normal(chance, MORNINGS)).collect()).collect();
        let weekdays: Vec<i64> = (0..shape.groups).map(|_| whole(chance, 0, 5) as i64).collect();
        let (usual, others) = scales.split_at(scales.len() - 1);
        for animal in 0..self.animals.len() {
            let Animal { group, life, joins, leaves } = self.animals[animal].clone();
            let mut wander = normal(chance, life.restless);
            let mut away = 0;
            for week in joins..leaves.min(WEEKS) {
                let fresh = life.restless * (1.0 - shape.memory * shape.memory).sqrt();
                wander = shape.memory * wander + normal(chance, fresh);
                if chance.happens(0.006) {
                    away = whole(chance, 2, 6);
                }
                if away > 0 {
                    away -= 1;
                    continue;
                }
                if chance.happens(life.misses) {
                    continue;
                }
                let hours = 24 * weekdays[group] + 8;
                let at = start_of(week) + TimeDelta::minutes(60 * hours + 3 * animal as i64);
                let moment = week as f64 + hours as f64 / 168.0;
                let own = self.log(animal, moment);
                let small = own.exp() < SMALL * adult;
                let scale = if small {
                    &others[0][0]
                } else {
                    let kept = if chance.happens(0.8) { 0 } else { chance.below(usual.len()) };
                    usual[kept].iter().rev().find(|scale| scale.from <= week).unwrap_or(&usual[kept][0])
                };
                let mut err = || {
                    let full = if chance.happens(0.3) { [0.5, 1.0] } else { [0.0, 0.25] };
                    let meal = shape.meal * (between(chance, full[0], full[1]) - MEAN_MEAL);
                    let noise = if shape.tails { tailed } else { normal }(chance, life.noise);
                    meal + noise + wander + mornings[group][week]
                };
                let errs = [err(), err()];
                let shy = if shape.not_at_random { (-1.2 * wander / life.restless).exp() } else { 1.0 };
                let slip = if chance.happens(shape.slips / 1000.0) { slip(chance) } else { 0.0 };
                self.weeks[week].attempts.push(Attempt {
                    animal,
                    at,
                    moment,
                    right: own + feeds[group][week] + scale.more + shape.meal * MEAN_MEAL,
                    errs,
                    slip,
                    refused: chance.happens((life.refuses * shy).min(0.9)),
                    again: chance.happens(weighs_again),
                    more: scale.more,
                    scale: Scale(scale.number),
                    step: if small { step / 10.0 } else { step },
                });
            }
        }
        self.exchange(chance);
    }

    /// Two animals of a group taken for one another.
    fn exchange(&mut self, chance: &mut Chance) {
        for week in &mut self.weeks {
            for one in 0..week.attempts.len() {
                if !chance.happens(0.5 * self.shape.slips / 1000.0) {
                    continue;
                }
                let other = chance.below(week.attempts.len());
                let group = |place: usize| self.animals[week.attempts[place].animal].group;
                if one == other || group(one) != group(other) {
                    continue;
                }
                let apart = week.attempts[other].right - week.attempts[one].right;
                if apart.abs() < 0.5 {
                    week.attempts[one].slip = apart;
                    week.attempts[other].slip = -apart;
                }
            }
        }
    }

    /// Variance of what a weighing of an animal errs by, apart from its wandering and the morning.
    pub(crate) fn noise(&self, attempt: &Attempt) -> f64 {
        let step = attempt.step / attempt.right.exp();
        let meal = 0.303 * self.shape.meal;
        self.animals[attempt.animal].life.noise.powi(2) + meal * meal + step * step / 12.0
    }

    /// The attempt behind an entry.
    pub(crate) fn attempt(&self, weighing: &Weighing) -> Option<&Attempt> {
        let week = usize::try_from((weighing.at - start_of(0)).num_weeks()).ok()?;
        self.weeks.get(week)?.attempts.iter().find(|attempt| attempt.animal == weighing.animal)
    }
}

/// What a meal weighs in the middle, as a share of the heaviest.
const MEAN_MEAL: f64 = 0.3125;

/// A slip of unit or point.
fn slip(chance: &mut Chance) -> f64 {
    let factor: f64 = match whole(chance, 0, 6) {
        0 => 10.0,
        1 => 0.1,
        2 => 2.204_62,
        3 => 1.0 / 2.204_62,
        4 => 28.35,
        _ => between(chance, 0.7, 1.4),
    };
    factor.ln()
}

pub(crate) fn start_of(week: usize) -> Instant {
    Utc.with_ymd_and_hms(2019, 1, 7, 0, 0, 0).unwrap() + TimeDelta::weeks(week as i64)
}
