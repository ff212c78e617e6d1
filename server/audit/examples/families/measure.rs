//! From what a rule found to figures, at any limit of its score.

use crate::chance::count;
use crate::rule::{About, Matter, Open};
use crate::run::{Case, Class, Entries, Followed, Loss, PATIENCE, Run, is_urgent, score};
use crate::world::{World, start_of};
use holt_audit::episode::{self, Change, Episode, Sighting};
use std::collections::BTreeMap;

/// Weeks of a year.
pub(crate) const YEAR: f64 = 365.25 / 7.0;
/// Weeks after a change of feed, or of a scale, in which it is right to tell of it.
const AFTER: usize = 16;
/// Weeks before an onset in which a concern must not be open already.
const BEFORE: usize = 4;

/// Losses that were followed, and when they were told.
#[derive(Clone, Debug, Default)]
pub(crate) struct Delays {
    /// Days, those not told within the time as the whole of it.
    days: Vec<f64>,
    seen: usize,
    /// Called a scale that is off.
    scale: usize,
}

impl Delays {
    pub(crate) fn mean(&self) -> f64 {
        self.days.iter().sum::<f64>() / count(self.days.len())
    }

    pub(crate) fn median(&self) -> f64 {
        let mut days = self.days.clone();
        days.sort_by(f64::total_cmp);
        days.get(days.len() / 2).copied().unwrap_or(f64::NAN)
    }

    pub(crate) fn seen_percent(&self) -> f64 {
        100.0 * count(self.seen) / count(self.days.len())
    }

    pub(crate) fn scale_percent(&self) -> f64 {
        100.0 * count(self.scale) / count(self.days.len())
    }

    pub(crate) const fn is_empty(&self) -> bool {
        self.days.is_empty()
    }
}

/// Years in which nothing was wrong, with what was raised in them.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Quiet {
    years: f64,
    raised: usize,
    urgent: usize,
}

impl Quiet {
    pub(crate) fn rates(&self) -> [f64; 2] {
        [count(self.raised) / self.years, count(self.urgent) / self.years]
    }
}

/// What an animal, or a group, is in a week.
fn class_of(world: &World, about: About, week: usize) -> Class {
    let About::Animal(animal) = about else { return Class::Group };
    let (life, week) = (&world.animals[animal].life, week as f64);
    if !life.is_grown(&world.species, week) {
        Class::Young
    } else if life.pregnancies.iter().any(|one| one.is_busy(week)) {
        Class::Mother
    } else {
        Class::Grown
    }
}

/// The figures of some worlds.
#[derive(Clone, Debug, Default)]
pub(crate) struct Figures {
    /// Animal-years, and concerns about weight in them; of these, those that became urgent.
    years: f64,
    raised: usize,
    urgent: usize,
    /// The same by what the animal is; of groups as one under [`Class::Group`].
    pub(crate) quiet: BTreeMap<Class, Quiet>,
    /// The same of the first year.
    first_years: f64,
    first_raised: usize,
    group_years: f64,
    group_raised: usize,
    /// Falls of weight by a poor feed, and those of them that were told of the group.
    pub(crate) feeds: usize,
    pub(crate) feeds_told: usize,
    /// False concerns about a scale that is off.
    scale_off: usize,
    pub(crate) entries: Entries,
    pub(crate) delays: BTreeMap<(Class, usize), Delays>,
}

impl Figures {
    pub(crate) fn of<'a>(runs: impl IntoIterator<Item = (&'a World, &'a Run)>, limit: f64) -> Self {
        let mut figures = Self::default();
        for (world, run) in runs {
            figures.healthy(world, run, limit);
            figures.losses(run, limit);
            figures.entries.add(&run.entries);
        }
        figures
    }

    pub(crate) fn false_rate(&self) -> f64 {
        count(self.raised) / self.years
    }

    pub(crate) fn urgent_rate(&self) -> f64 {
        count(self.urgent) / self.years
    }

    pub(crate) fn first_rate(&self) -> f64 {
        count(self.first_raised) / self.first_years
    }

    pub(crate) fn later_rate(&self) -> f64 {
        count(self.raised - self.first_raised) / (self.years - self.first_years)
    }

    pub(crate) fn group_rate(&self) -> f64 {
        count(self.group_raised) / self.group_years
    }

    pub(crate) fn scale_off_rate(&self) -> f64 {
        count(self.scale_off) / self.group_years
    }

    pub(crate) fn delays(&self, class: Class, loss: usize) -> Delays {
        self.delays.get(&(class, loss)).cloned().unwrap_or_default()
    }

    /// Those of several classes together.
    pub(crate) fn pooled(&self, classes: &[Class], loss: usize) -> Delays {
        let mut all = Delays::default();
        for class in classes {
            let one = self.delays(*class, loss);
            all.days.extend(one.days);
            all.seen += one.seen;
            all.scale += one.scale;
        }
        all
    }

    fn healthy(&mut self, world: &World, run: &Run, limit: f64) {
        let mut carried: BTreeMap<(About, Matter), Episode> = BTreeMap::new();
        let mut as_one: BTreeMap<usize, Option<Episode>> = BTreeMap::new();
        let mut told_feeds = vec![false; world.poor_feed.len()];
        for look in &run.looks {
            let &crate::run::Look { week, group, members, ref opens } = look;
            let first = week * 7 < 365;
            let years = count(members) / YEAR;
            self.years += years;
            self.group_years += 1.0 / YEAR;
            let there =
                |one: &usize| world.animals[*one].group == group && world.animals[*one].is_there(week);
            let there = (0..world.animals.len()).filter(there).map(About::Animal);
            for about in there.chain([About::Group(group)]) {
                self.quiet.entry(class_of(world, about, week)).or_default().years += 1.0 / YEAR;
            }
            self.first_years += if first { years } else { 0.0 };
            let poor = |(at, from): (usize, usize)| at == group && (from..from + AFTER).contains(&week);
            let feed = world.poor_feed.iter().any(|one| poor(*one));
            let day = start_of(week + 1).date_naive();
            let found = |about: About, matter: Matter| {
                let of_it = opens.iter().filter(|open| (open.about, open.matter) == (about, matter));
                of_it.filter(|open| open.score >= limit && open.score > 0.0).max_by_key(|open| open.severity)
            };
            let sighting = |open: &Open| Sighting { since: day, severity: open.severity };
            let of_group = |about: About| match about {
                About::Animal(animal) => world.animals[animal].group == group,
                About::Group(own) => own == group,
            };
            let keys: std::collections::BTreeSet<(About, Matter)> = opens
                .iter()
                .map(|open| (open.about, open.matter))
                .chain(carried.keys().copied().filter(|(about, _)| of_group(*about)))
                .filter(|(_, matter)| *matter != Matter::Refusal)
                .collect();
            for (about, matter) in keys {
                let seen = found(about, matter);
                let before = carried.remove(&(about, matter));
                let (after, change) = episode::follow(before, seen.map(sighting), day);
                let was_urgent = before.is_some_and(|one| one.worst == episode::Severity::Urgent)
                    && change != Change::Raised;
                carried.extend(after.map(|one| ((about, matter), one)));
                if about == About::Group(group) && feed && matter == Matter::Weight {
                    continue;
                }
                let right_scale = || {
                    let replaced = world.scale_steps.iter().any(|from| (*from..from + AFTER).contains(&week));
                    replaced && matter == Matter::ScaleOff
                };
                if matter == Matter::ScaleOff {
                    self.scale_off += usize::from(change == Change::Raised && !right_scale());
                    continue;
                }
                let raised = change == Change::Raised;
                let urgent = !was_urgent && seen.is_some_and(is_urgent);
                self.raised += usize::from(raised);
                self.first_raised += usize::from(raised && first);
                self.urgent += usize::from(urgent);
                let quiet = self.quiet.entry(class_of(world, about, week)).or_default();
                quiet.raised += usize::from(raised);
                quiet.urgent += usize::from(urgent);
            }
            let whole = score(opens, About::Group(group), members);
            let told = whole >= limit && whole > 0.0;
            for (place, one) in world.poor_feed.iter().enumerate() {
                told_feeds[place] |= told && poor(*one);
            }
            let seen = told.then_some(Sighting { since: day, severity: episode::Severity::Act });
            let before = as_one.get(&group).copied().flatten();
            let (after, change) = episode::follow(before, seen, day);
            as_one.insert(group, after);
            self.group_raised += usize::from(change == Change::Raised && !feed);
        }
        self.feeds += told_feeds.len();
        self.feeds_told += told_feeds.iter().filter(|told| **told).count();
    }

    fn losses(&mut self, run: &Run, limit: f64) {
        for Followed { case, scores, first_day, called_scale } in &run.followed {
            if is_open(run, *case, limit) {
                continue;
            }
            let place = Loss::ALL.iter().position(|loss| *loss == case.loss).unwrap_or(0);
            let delays = self.delays.entry((case.class, place)).or_default();
            let told = scores.iter().position(|score| *score >= limit && *score > 0.0);
            delays.days.push(told.map_or(7.0 * count(PATIENCE), |week| 7.0 * count(week) + first_day));
            delays.seen += usize::from(told.is_some());
            delays.scale += usize::from(*called_scale);
        }
    }
}

/// Whether a concern is open already when a loss begins.
fn is_open(run: &Run, case: Case, limit: f64) -> bool {
    let from = run.looks.partition_point(|look| look.week + BEFORE < case.onset);
    run.looks[from..].iter().take_while(|look| look.week < case.onset).any(|look| {
        let here = match case.who {
            About::Group(group) => group == look.group,
            About::Animal(_) => true,
        };
        let told = score(&look.opens, case.who, look.members);
        here && told >= limit && told > 0.0
    })
}

impl Entries {
    fn add(&mut self, other: &Self) {
        self.right += other.right;
        self.set_aside += other.set_aside;
        self.inside += other.inside;
        self.wrong += other.wrong;
        self.taken_wrong += other.taken_wrong;
        self.rounds += other.rounds;
        self.exchanges += other.exchanges;
        self.scale_off += other.scale_off;
        self.longest = self.longest.max(other.longest);
    }
}

/// The lowest limit at which a rate, which falls as the limit rises, is no more than wanted.
pub(crate) fn limit_for(wanted: f64, mut low: f64, mut high: f64, rate: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..30 {
        let middle = 0.5 * (low + high);
        if rate(middle) <= wanted {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}
