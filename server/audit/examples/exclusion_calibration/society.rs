//! Invented groups that live otherwise than those of `herd.rs`: pressure that is mild and lasts, and goes on where
//! nobody is put out; newcomers, oestrus and mothers, which look like it; and keepers who note one thing only.
//!
//! All rates are choices; none is measured on real animals.

use crate::herd::{Herd, Span, at, bell, between, day_between, events, members, span};
use holt_audit::chance::Chance;
use holt_audit::standing::contests::Decided;
use holt_audit::standing::exclusion::record::{Change, Feed, Record, Watch};
use holt_audit::terms::{Interval, Sex};
use std::collections::BTreeSet;

/// Days for which a group is followed.
const DAYS: i64 = 294;

/// What keepers note.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Notes {
    All,
    OnlyFeeds,
    OnlyScans,
}

/// How a society lives.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ways {
    /// Pressure multiplies what is usual, comes and goes from week to week, and grows; otherwise it adds to it, and
    /// is there at once.
    pub(crate) multiplies: bool,
    /// Part of those under pressure on which it is mild.
    pub(crate) mild: f64,
    /// How likely a group has newcomers, females in oestrus, and mothers.
    pub(crate) alike: f64,
    /// Spread of moods from week to week, ln.
    pub(crate) moods: f64,
    /// All are watched at once; otherwise one after the other.
    pub(crate) at_once: bool,
    pub(crate) notes: Notes,
}

/// One of those that the model is fitted on beside `herd.rs`, and one that it never saw.
pub(crate) const LASTING: Ways =
    Ways { multiplies: false, mild: 0.5, alike: 0.4, moods: 0.3, at_once: false, notes: Notes::All };
pub(crate) const UNSEEN: Ways =
    Ways { multiplies: true, mild: 0.35, alike: 0.5, moods: 0.4, at_once: true, notes: Notes::All };

struct Life {
    low: f64,
    aggression: f64,
    kept_off: f64,
    alone: f64,
    grams: f64,
    /// Mood of each week.
    moods: Vec<f64>,
    joined: i64,
    oestrus: Option<i64>,
    young: Option<Span>,
    ill: Option<Span>,
    pressed: Option<(Span, f64, bool)>,
    lost: f64,
}

fn odds_up(share: f64, more: f64) -> f64 {
    let odds = share / (1.0 - share) * more.exp();
    odds / (1.0 + odds)
}

impl Life {
    fn level(&self, ways: &Ways, animal: usize, day: i64) -> (f64, bool) {
        let Some((during, level, quiet)) = self.pressed.filter(|(span, ..)| span.covers(animal, day)) else {
            return (0.0, false);
        };
        let week = day / 7;
        if ways.multiplies {
            let grown = (span(day - during.from) / 28.0).min(1.0);
            // In some weeks it is left in peace.
            let peace = (week * 7 + during.from) % 10 < 2;
            return (if peace { 0.0 } else { level * grown }, quiet);
        }
        (level, quiet)
    }

    fn new_here(&self, day: i64) -> f64 {
        if self.joined <= 0 { 0.0 } else { (-span(day - self.joined) / 18.0).exp() }
    }

    fn in_oestrus(&self, day: i64) -> f64 {
        f64::from(u8::from(self.oestrus.is_some_and(|first| day >= first && (day - first) % 30 < 4)))
    }

    fn is(of: Option<Span>, animal: usize, day: i64) -> f64 {
        f64::from(u8::from(of.is_some_and(|span| span.covers(animal, day))))
    }

    fn aggression(&self, ways: &Ways, animal: usize, day: i64) -> f64 {
        let (level, quiet) = self.level(ways, animal, day);
        let mood = self.moods[usize::try_from(day / 7).unwrap_or(0)];
        let base =
            self.aggression * mood * (1.0 + 2.5 * self.in_oestrus(day)) * (1.0 + 2.0 * self.new_here(day));
        let part = if quiet { 0.2 } else { 1.0 };
        if ways.multiplies { base * (1.0 + 6.0 * part * level) } else { base + 3.0 * part * level }
    }

    fn kept_off(&self, ways: &Ways, animal: usize, day: i64) -> f64 {
        let (level, _) = self.level(ways, animal, day);
        let more = 0.5 * self.in_oestrus(day) + 0.8 * self.new_here(day);
        let base = odds_up(self.kept_off, more);
        if ways.multiplies { odds_up(base, 2.8 * level) } else { (base + 0.55 * level).min(0.95) }
    }

    fn alone(&self, ways: &Ways, animal: usize, day: i64) -> f64 {
        let (level, _) = self.level(ways, animal, day);
        let more = 1.5 * Self::is(self.young, animal, day)
            + 1.2 * Self::is(self.ill, animal, day)
            + 0.8 * self.new_here(day);
        let base = odds_up(self.alone, more);
        if ways.multiplies { odds_up(base, 2.5 * level) } else { (base + 0.5 * level).min(0.95) }
    }
}

/// A group of such a society.
pub(crate) fn simulate(ways: &Ways, seed: u64) -> Herd {
    let chance = &mut Chance::seeded(seed ^ 0x5eed);
    let size = 4 + chance.below(8);
    let members = members(chance, size);
    let mut lives: Vec<Life> = (0..size).map(|rank| drawn(chance, ways, rank, size)).collect();
    let mut changes: Vec<Change> = Vec::new();
    let mut alike = Vec::new();
    if chance.happens(ways.alike) {
        let (who, on) = (chance.below(size), day_between(chance, 80, 200));
        lives[who].joined = on;
        alike.push(who);
        changes.push(Change { at: at(on, 6.0), what: "one came".to_owned() });
    }
    for animal in 0..size {
        if members[animal].sex == Sex::Female && chance.happens(0.4 * ways.alike) {
            lives[animal].oestrus = Some(day_between(chance, 60, 90));
            alike.push(animal);
        } else if members[animal].sex == Sex::Female && chance.happens(0.4 * ways.alike) {
            let from = day_between(chance, 70, 220);
            lives[animal].young = Some(Span { who: animal, from, until: from + day_between(chance, 21, 50) });
            alike.push(animal);
            changes.push(Change { at: at(from, 6.0), what: "a birth".to_owned() });
        }
    }
    if chance.happens(0.35) {
        let (who, from) = (chance.below(size), day_between(chance, 70, 220));
        lives[who].ill = Some(Span { who, from, until: from + day_between(chance, 14, 56) });
    }
    let mut pressed = Vec::new();
    let mut mild = false;
    if chance.happens(0.4) {
        let who = (2 + chance.below(size - 2)).min(size - 1);
        mild = chance.happens(ways.mild);
        let from = day_between(chance, 90, 130).max(lives[who].joined + 56);
        let long = if mild { day_between(chance, 112, 182) } else { day_between(chance, 28, 112) };
        let level = if mild { between(chance, 0.25, 0.45) } else { between(chance, 0.55, 1.0) };
        let during = Span { who, from, until: (from + long).min(DAYS) };
        lives[who].pressed = Some((during, level, chance.happens(0.25)));
        alike.retain(|other| *other != who);
        pressed.push(during);
    }
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
    let mut herd = Herd { record, pressed, mild, alike, weights: vec![Vec::new(); size], last: DAYS };
    live(chance, ways, &mut lives, &mut herd);
    herd
}

fn drawn(chance: &mut Chance, ways: &Ways, rank: usize, size: usize) -> Life {
    let place = |n: usize| span(i64::try_from(n).unwrap_or_default());
    let low = place(rank) / place(size - 1);
    let moods = (0..=DAYS / 7).map(|_| (ways.moods * bell(chance)).exp()).collect();
    Life {
        low,
        aggression: 0.5 * (0.3 + 1.8 * low) * (0.7 * bell(chance)).exp(),
        kept_off: (0.02 + between(chance, 0.0, 0.35) * low).min(0.6),
        alone: between(chance, 0.05, 0.45),
        grams: 1_500.0 * (0.1 * bell(chance)).exp(),
        moods,
        joined: 0,
        oestrus: None,
        young: None,
        ill: None,
        pressed: None,
        lost: 0.0,
    }
}

fn live(chance: &mut Chance, ways: &Ways, lives: &mut [Life], herd: &mut Herd) {
    let effort = [1.5, 1.0, 0.5][chance.below(3)];
    let level = |often: f64, kind: Notes| {
        if ways.notes == Notes::All || ways.notes == kind { often * effort / 7.0 } else { 0.0 }
    };
    let (watches, feeds, scans) =
        (level(1.5, Notes::All), level(3.5, Notes::OnlyFeeds), level(6.0, Notes::OnlyScans));
    let weighed = if ways.notes == Notes::All && chance.happens(0.7) { 0.9 } else { 0.0 };
    let season = between(chance, 0.0, 6.0);
    for day in 0..herd.last {
        let there: Vec<usize> = (0..lives.len()).filter(|&one| lives[one].joined <= day).collect();
        for _ in 0..if ways.at_once { events(chance, watches) } else { 0 } {
            let (start, hours) = (between(chance, 8.0, 15.0), between(chance, 0.3, 1.0));
            for &animal in &there {
                watch(chance, ways, lives, herd, (animal, day), (start, hours));
            }
        }
        for _ in 0..events(chance, feeds) {
            for &animal in &there {
                if chance.happens(0.1) {
                    continue;
                }
                let kept_off = chance.happens(lives[animal].kept_off(ways, animal, day));
                herd.record.feeds.push(Feed { at: at(day, 9.0), animal, kept_off });
            }
        }
        for _ in 0..events(chance, scans) {
            let (mut together, mut parties) = (BTreeSet::new(), Vec::new());
            for &animal in &there {
                if chance.happens(0.12) {
                    continue;
                }
                if chance.happens(lives[animal].alone(ways, animal, day)) {
                    parties.push(BTreeSet::from([animal]));
                } else {
                    together.insert(animal);
                }
            }
            parties.push(together);
            herd.record.scans.push((at(day, 14.0), parties));
        }
        for &animal in &there {
            for _ in 0..if ways.at_once { 0 } else { events(chance, watches) } {
                let (start, hours) = (between(chance, 8.0, 15.0), between(chance, 0.1, 0.5));
                watch(chance, ways, lives, herd, (animal, day), (start, hours));
            }
            let (level, _) = lives[animal].level(ways, animal, day);
            let life = &mut lives[animal];
            life.lost += 0.001 * level
                + 0.001_5 * Life::is(life.ill, animal, day)
                + 0.001 * Life::is(life.young, animal, day);
            life.lost *= 0.995;
            if day % 7 == 0 && chance.happens(weighed) {
                let wave = 0.04 * (span(day) / 58.0 + season).sin();
                let grams = life.grams * (1.0 + wave - life.lost + 0.015 * bell(chance));
                herd.weights[animal].push((day, grams));
            }
        }
    }
}

fn watch(
    chance: &mut Chance,
    ways: &Ways,
    lives: &[Life],
    herd: &mut Herd,
    (animal, day): (usize, i64),
    (start, hours): (f64, f64),
) {
    let until = start + hours;
    let during = Interval { from: at(day, start), until: Some(at(day, until)) };
    herd.record.watched.push(Watch { animal, during });
    for _ in 0..events(chance, lives[animal].aggression(ways, animal, day) * hours) {
        let above: Vec<usize> = (0..lives.len())
            .filter(|&other| other != animal && (lives[other].low < lives[animal].low || animal == 0))
            .collect();
        let winner = above[chance.below(above.len())];
        let when = between(chance, start, until - 1e-3);
        herd.record.contests.push(Decided { at: at(day, when), winner, loser: animal });
    }
}
