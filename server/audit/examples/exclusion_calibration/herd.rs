//! Invented groups whose fate is known: who is pushed out, and everything else that looks like it.
//!
//! All rates here are choices; none is measured on real animals. They are spread widely so that the
//! weights do not lean on any one of them.

use chrono::{TimeDelta, TimeZone, Utc};
use holt_audit::chance::Chance;
use holt_audit::standing::association::Scan;
use holt_audit::standing::contests::Decided;
use holt_audit::standing::exclusion::record::{Change, Feed, Member, Record, Stage, Watch};
use holt_audit::stats::normal;
use holt_audit::terms::{Instant, Interval, Sex};
use std::collections::BTreeSet;

/// Days for which a group is followed.
pub(crate) const DAYS: i64 = 220;

/// What happens to an animal or a group, and between which days.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Span {
    pub(crate) who: usize,
    pub(crate) from: i64,
    pub(crate) until: i64,
}

impl Span {
    pub(crate) fn covers(&self, who: usize, day: i64) -> bool {
        self.who == who && self.from <= day && day < self.until
    }

    /// How far it has come, from 0 to 1.
    fn progress(&self, who: usize, day: i64) -> f64 {
        if self.covers(who, day) { span(day - self.from + 1) / span(self.until - self.from) } else { 0.0 }
    }
}

/// A group that was followed, with what was seen and what is true.
pub(crate) struct Herd {
    pub(crate) record: Record<usize>,
    /// Who is under pressure that lasts, from the first sign to the end.
    pub(crate) pressed: Vec<Span>,
    /// Those of them on which it is mild.
    pub(crate) mild: bool,
    /// Who joined, is in oestrus now and then, or raised young: what looks like pressure and is none.
    pub(crate) alike: Vec<usize>,
    /// Weights in grams on days, animal by animal.
    pub(crate) weights: Vec<Vec<(i64, f64)>>,
    /// The last day on which it was followed.
    pub(crate) last: i64,
}

/// Traits of one animal.
struct Animal {
    /// 0 at the top, 1 at the bottom.
    low: f64,
    aggression_per_hour: f64,
    kept_off: f64,
    alone: f64,
    grams: f64,
    growth_per_day: f64,
}

struct World<'a> {
    chance: &'a mut Chance,
    animals: Vec<Animal>,
    pushed_out: Option<Span>,
    /// Chased little, but avoided: the signs are food and company.
    quietly: bool,
    ill: Option<Span>,
    bad_week: Option<Span>,
    unrest: Option<(i64, i64)>,
}

pub(crate) fn span(days: i64) -> f64 {
    f64::from(i32::try_from(days).unwrap_or(i32::MAX))
}

pub(crate) fn at(day: i64, hour: f64) -> Instant {
    #[expect(clippy::cast_possible_truncation, reason = "a few thousand seconds")]
    let seconds = (hour * 3_600.0) as i64;
    Utc.with_ymd_and_hms(2025, 1, 2, 0, 0, 0).unwrap() + TimeDelta::days(day) + TimeDelta::seconds(seconds)
}

pub(crate) fn between(chance: &mut Chance, low: f64, high: f64) -> f64 {
    low + (high - low) * chance.unit()
}

pub(crate) fn day_between(chance: &mut Chance, low: i64, high: i64) -> i64 {
    let width = usize::try_from(high - low).unwrap_or_default();
    low + i64::try_from(chance.below(width)).unwrap_or_default()
}

pub(crate) fn bell(chance: &mut Chance) -> f64 {
    normal::quantile(between(chance, 1e-9, 1.0 - 1e-9))
}

/// Poisson draw by multiplying uniforms (Knuth): means here are small.
pub(crate) fn events(chance: &mut Chance, mean: f64) -> u32 {
    let (floor, mut product, mut n) = ((-mean).exp(), chance.unit(), 0);
    while product > floor {
        product *= chance.unit();
        n += 1;
    }
    n
}

impl Herd {
    pub(crate) fn simulate(seed: u64) -> Self {
        let chance = &mut Chance::seeded(seed);
        let size = 4 + chance.below(8);
        let members = members(chance, size);
        let animals: Vec<Animal> = (0..size).map(|rank| Animal::draw(chance, rank, size)).collect();
        let pushed_out = chance.happens(0.4).then(|| pushed_out(chance, &members));
        let other_than = |chance: &mut Chance, taken: Option<Span>| {
            let who = chance.below(size);
            if taken.is_some_and(|t| t.who == who) { (who + 1) % size } else { who }
        };
        let ill = chance.happens(0.35).then(|| {
            let (who, from) = (other_than(chance, pushed_out), day_between(chance, 70, 190));
            Span { who, from, until: from + day_between(chance, 14, 56) }
        });
        let bad_week = chance.happens(0.4).then(|| {
            let (who, from) = (other_than(chance, pushed_out), day_between(chance, 70, 200));
            Span { who, from, until: from + day_between(chance, 3, 12) }
        });
        let unrest = chance.happens(0.4).then(|| {
            let from = day_between(chance, 70, 200);
            (from, from + day_between(chance, 14, 42))
        });
        let quietly = chance.happens(0.3);
        let changes = changes(chance, pushed_out, unrest);
        let mut world = World { chance, animals, pushed_out, quietly, ill, bad_week, unrest };
        let record = Record {
            members,
            watched: Vec::new(),
            contests: Vec::new(),
            feeds: Vec::new(),
            scans: Vec::new(),
            weights: Vec::new(),
            changes,
            kinship: Vec::new(),
        };
        let mut herd = Self {
            record,
            pressed: pushed_out.into_iter().collect(),
            mild: false,
            alike: Vec::new(),
            weights: vec![Vec::new(); size],
            last: pushed_out.map_or(DAYS, |span| span.until),
        };
        herd.live(&mut world);
        herd
    }

    fn live(&mut self, world: &mut World<'_>) {
        // How often keepers look differs from house to house; some look at one thing and not at others.
        let effort = [2.0, 1.0, 1.0, 0.3][world.chance.below(4)];
        let level = |chance: &mut Chance, often: f64| if chance.happens(0.85) { often * effort } else { 0.0 };
        let [watches, feeds, scans, sightings] =
            [1.5, 3.0, 7.0, 2.0].map(|a_week: f64| level(world.chance, a_week / 7.0));
        let weighed = if world.chance.happens(0.85) { 0.9 } else { 0.0 };
        let size = world.animals.len();
        for day in 0..self.last {
            for animal in 0..size {
                for _ in 0..events(world.chance, watches) {
                    self.watch(world, animal, day);
                }
                for _ in 0..events(world.chance, feeds) {
                    let kept_off = world.kept_off(animal, day);
                    self.record.feeds.push(Feed {
                        at: at(day, 9.0),
                        animal,
                        kept_off: world.chance.happens(kept_off),
                    });
                }
                if day % 7 == 0 && world.chance.happens(weighed) {
                    let grams = world.weigh(animal, day);
                    self.weights[animal].push((day, grams));
                }
            }
            for _ in 0..events(world.chance, scans) {
                let scan = world.scan(day);
                self.record.scans.push((at(day, 14.0), scan));
            }
            for _ in 0..events(world.chance, sightings) {
                let contest = world.contest(day);
                self.record.contests.push(contest);
            }
        }
    }

    fn watch(&mut self, world: &mut World<'_>, animal: usize, day: i64) {
        let (start, minutes) = (between(world.chance, 8.0, 16.0), between(world.chance, 10.0, 20.0));
        let until = start + minutes / 60.0;
        let during = Interval { from: at(day, start), until: Some(at(day, until)) };
        self.record.watched.push(Watch { animal, during });
        // Aggression comes in bouts.
        let bouts = events(world.chance, world.aggression(animal, day) * minutes / 60.0 / 1.5);
        for _ in 0..bouts {
            let mut when = between(world.chance, start, until);
            let aggressor = world.aggressor(animal, day);
            loop {
                self.record.contests.push(Decided { at: at(day, when), winner: aggressor, loser: animal });
                when = (when + 0.005).min(until - 1e-3);
                if world.chance.happens(2.0 / 3.0) {
                    break;
                }
            }
        }
    }
}

impl Animal {
    fn draw(chance: &mut Chance, rank: usize, size: usize) -> Self {
        let low = span(i64::try_from(rank).unwrap_or_default()) / span(i64::try_from(size).unwrap_or(1) - 1);
        Self {
            low,
            aggression_per_hour: 0.6 * (0.4 + 1.6 * low) * (0.6 * bell(chance)).exp(),
            kept_off: 0.03 + between(chance, 0.0, 0.3) * low,
            alone: between(chance, 0.05, 0.35),
            grams: 4_000.0 * (0.1 * bell(chance)).exp(),
            growth_per_day: 0.000_2 * bell(chance),
        }
    }
}

impl World<'_> {
    fn process(&self, animal: usize, day: i64) -> f64 {
        // Pressure rises quickly at first.
        self.pushed_out.map_or(0.0, |span| span.progress(animal, day).powf(0.7))
    }

    fn stirred(&self, day: i64) -> f64 {
        match self.unrest {
            Some((from, until)) if from <= day && day < until => 1.0,
            _ => 0.0,
        }
    }

    fn in_bad_week(&self, animal: usize, day: i64) -> f64 {
        f64::from(u8::from(self.bad_week.is_some_and(|span| span.covers(animal, day))))
    }

    fn is_ill(&self, animal: usize, day: i64) -> f64 {
        f64::from(u8::from(self.ill.is_some_and(|span| span.covers(animal, day))))
    }

    fn aggression(&self, animal: usize, day: i64) -> f64 {
        let pressed = if self.quietly { 0.8 } else { 4.0 } * self.process(animal, day);
        let base = self.animals[animal].aggression_per_hour;
        base * (1.0 + 1.2 * self.stirred(day)) * (1.0 + 3.0 * self.in_bad_week(animal, day)) + pressed
    }

    fn kept_off(&self, animal: usize, day: i64) -> f64 {
        let more = 0.5 * self.process(animal, day)
            + 0.25 * self.in_bad_week(animal, day)
            + 0.1 * self.is_ill(animal, day)
            + 0.05 * self.stirred(day);
        (self.animals[animal].kept_off + more).min(0.95)
    }

    fn alone(&self, animal: usize, day: i64) -> f64 {
        let more = 0.5 * self.process(animal, day)
            + 0.25 * self.is_ill(animal, day)
            + 0.15 * self.in_bad_week(animal, day)
            + 0.1 * self.stirred(day);
        (self.animals[animal].alone + more).min(0.95)
    }

    fn weigh(&mut self, animal: usize, day: i64) -> f64 {
        let lost = |what: Option<Span>, lag: i64, a_day: f64| {
            let theirs = what.filter(|what| what.who == animal);
            theirs.map_or(0.0, |what| a_day * span((day.min(what.until) - what.from - lag).max(0)))
        };
        let pressed = lost(self.pushed_out, 10, 0.001_4);
        let sick = lost(self.ill, 0, 0.001_7);
        let season = 0.03 * (span(day) / 58.0).sin();
        let grown = self.animals[animal].growth_per_day * span(day);
        let noise = 0.012 * bell(self.chance);
        self.animals[animal].grams * (1.0 + season + grown - pressed - sick + noise)
    }

    fn scan(&mut self, day: i64) -> Scan<usize> {
        let (mut together, mut parties) = (BTreeSet::new(), Vec::new());
        for animal in 0..self.animals.len() {
            if self.chance.happens(0.1) {
                continue;
            }
            if self.chance.happens(self.alone(animal, day)) {
                parties.push(BTreeSet::from([animal]));
            } else {
                together.insert(animal);
            }
        }
        parties.push(together);
        parties
    }

    fn aggressor(&mut self, victim: usize, day: i64) -> usize {
        let size = self.animals.len();
        let mut other = self.chance.below(size - 1);
        if other >= victim {
            other += 1;
        }
        // Mostly from above; on one that is pressed, from all sides.
        let from_below = self.animals[other].low > self.animals[victim].low;
        if from_below && victim > 0 && self.chance.happens(0.85 * (1.0 - self.process(victim, day))) {
            self.chance.below(victim)
        } else {
            other
        }
    }

    /// A contest that someone happened to see.
    fn contest(&mut self, day: i64) -> Decided<usize> {
        let size = self.animals.len();
        let one = self.chance.below(size);
        let mut other = self.chance.below(size - 1);
        if other >= one {
            other += 1;
        }
        let strength = |animal: usize| self.animals[animal].low + 1.5 * self.process(animal, day);
        let (above, below) = if strength(one) < strength(other) { (one, other) } else { (other, one) };
        let (winner, loser) = if self.chance.happens(0.88) { (above, below) } else { (below, above) };
        Decided { at: at(day, 12.0), winner, loser }
    }
}

pub(crate) fn members(chance: &mut Chance, size: usize) -> Vec<Member<usize>> {
    (0..size)
        .map(|animal| {
            let breeding = animal < 2;
            let sex = match animal {
                0 => Sex::Female,
                1 => Sex::Male,
                _ if chance.happens(0.1) => Sex::Unknown,
                _ if chance.happens(0.5) => Sex::Female,
                _ => Sex::Male,
            };
            let stage = match chance.below(3) {
                _ if breeding => Stage::Grown,
                0 => Stage::Grown,
                1 => Stage::Maturing,
                _ => Stage::Young,
            };
            Member { animal, sex, stage, breeding }
        })
        .collect()
}

fn pushed_out(chance: &mut Chance, members: &[Member<usize>]) -> Span {
    // Rivals of a breeder are three times as likely.
    let weigh = |member: &Member<usize>| match member {
        m if m.breeding => 0.0,
        m if m.stage == Stage::Young || m.sex == Sex::Unknown => 1.0,
        _ => 3.0,
    };
    let sum: f64 = members.iter().map(weigh).sum();
    let mut left = chance.unit() * sum;
    let chosen = members.iter().find(|member| {
        left -= weigh(member);
        left < 0.0
    });
    let from = day_between(chance, 105, 155);
    Span { who: chosen.map_or(2, |member| member.animal), from, until: from + day_between(chance, 21, 63) }
}

fn changes(chance: &mut Chance, pushed_out: Option<Span>, unrest: Option<(i64, i64)>) -> Vec<Change> {
    let one = |day: i64| Change { at: at(day, 6.0), what: "a birth".to_owned() };
    let mut changes: Vec<Change> = (0..DAYS).filter(|_| chance.happens(1.0 / 120.0)).map(one).collect();
    for from in [pushed_out.map(|span| span.from), unrest.map(|(from, _)| from)].into_iter().flatten() {
        if chance.happens(0.5) {
            changes.push(one(from - day_between(chance, 0, 21)));
        }
    }
    changes
}
