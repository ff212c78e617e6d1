//! A rule let loose on a world: what it finds while nothing is wrong, and what it makes of losses.

use crate::chance::{between, week_of, whole};
use crate::rule::{About, Answer, Matter, Open, Rule, Weighing};
use crate::world::{Attempt, WEEKS, World, start_of};
use chrono::TimeDelta;
use holt_audit::chance::Chance;
use holt_audit::episode::Severity;
use std::collections::BTreeMap;

/// Weeks after which a loss counts as not seen.
pub(crate) const PATIENCE: usize = 26;
/// Weeks on record that a grown animal has before it begins to lose, and a young one.
const KNOWN: usize = 26;
const KNOWN_YOUNG: usize = 6;
/// Members that a group needs for a loss of all of them.
const FEW: usize = 4;

/// What goes wrong from the start of a week on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Loss {
    /// Such a part of its mass a week.
    Weekly(f64),
    /// Twelve per cent in four days.
    Sudden,
    /// A young animal gains no more.
    Stops,
}

impl Loss {
    pub(crate) const ALL: [Self; 5] =
        [Self::Weekly(0.005), Self::Weekly(0.01), Self::Weekly(0.02), Self::Sudden, Self::Stops];

    /// Lost by a moment, in ln mass.
    pub(crate) fn log(self, world: &World, animal: usize, onset: f64, moment: f64) -> f64 {
        let past = moment - onset;
        if past <= 0.0 {
            return 0.0;
        }
        match self {
            Self::Weekly(part) => (1.0 - part).ln() * past,
            Self::Sudden => 0.88_f64.ln() * (past * 7.0 / 4.0).min(1.0),
            Self::Stops => {
                let life = &world.animals[animal].life;
                life.log_share(&world.species, onset) - life.log_share(&world.species, moment)
            }
        }
    }
}

/// What an animal is when it begins to lose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Class {
    Grown,
    /// She carries or suckles.
    Mother,
    Young,
    /// All of a group.
    Group,
}

/// A loss that is tried out.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Case {
    pub(crate) who: About,
    pub(crate) class: Class,
    pub(crate) loss: Loss,
    pub(crate) onset: usize,
}

/// What a rule made of a loss.
#[derive(Clone, Debug)]
pub(crate) struct Followed {
    pub(crate) case: Case,
    /// The score after each week from the onset on; it ends where the rule was certain.
    pub(crate) scores: Vec<f64>,
    /// Days from the onset to the round of each of these weeks.
    pub(crate) first_day: f64,
    /// It was said that the scale is off.
    pub(crate) called_scale: bool,
}

/// What was found of a group after a round.
#[derive(Clone, Debug)]
pub(crate) struct Look {
    pub(crate) week: usize,
    pub(crate) group: usize,
    pub(crate) members: usize,
    pub(crate) opens: Vec<Open>,
}

/// What became of entries.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Entries {
    /// Right ones, and those of them that were set aside; some though they lay within what would have fitted.
    pub(crate) right: usize,
    pub(crate) set_aside: usize,
    pub(crate) inside: usize,
    /// Wrong ones, and those of them that were taken.
    pub(crate) wrong: usize,
    pub(crate) taken_wrong: usize,
    /// Rounds, and those without cause in which an exchange was told, or a scale that is off.
    pub(crate) rounds: usize,
    pub(crate) exchanges: usize,
    pub(crate) scale_off: usize,
    /// Most weeks in a row in which right readings of one animal were set aside.
    pub(crate) longest: usize,
}

/// All of that.
#[derive(Clone, Debug, Default)]
pub(crate) struct Run {
    pub(crate) looks: Vec<Look>,
    pub(crate) followed: Vec<Followed>,
    pub(crate) entries: Entries,
}

/// Lets a rule loose on a world in which nothing is wrong and, from each onset on, on the same world with a loss.
pub(crate) fn run<R: Rule>(world: &World, rule: &mut R, cases: &[Case]) -> Run {
    let mut told = Run::default();
    let mut row: BTreeMap<usize, usize> = BTreeMap::new();
    for week in 0..WEEKS {
        for case in cases.iter().filter(|case| case.onset == week) {
            told.followed.push(follow(world, rule, *case));
        }
        enter(world, rule, week, |_| 0.0, Some((&mut told.entries, &mut row)));
        for group in 0..world.shape.groups {
            let opens = rule.open(group, end_of(week));
            let members = present(world, group, week);
            told.looks.push(Look { week, group, members, opens });
        }
    }
    told
}

fn follow<R: Rule>(world: &World, rule: &R, case: Case) -> Followed {
    let mut rule = rule.clone();
    let group = match case.who {
        About::Animal(animal) => world.animals[animal].group,
        About::Group(group) => group,
    };
    let onset = case.onset as f64;
    let lost = |attempt: &Attempt| {
        let hit = match case.who {
            About::Animal(animal) => animal == attempt.animal,
            About::Group(group) => world.animals[attempt.animal].group == group,
        };
        if hit { case.loss.log(world, attempt.animal, onset, attempt.moment) } else { 0.0 }
    };
    let mut followed = Followed { case, scores: Vec::new(), first_day: 7.0, called_scale: false };
    for week in case.onset..(case.onset + PATIENCE).min(WEEKS) {
        enter(world, &mut rule, week, lost, None);
        if week == case.onset {
            let moments = world.weeks[week].attempts.iter();
            let of_group = moments.filter(|attempt| world.animals[attempt.animal].group == group);
            followed.first_day = of_group.map(|one| 7.0 * one.moment.fract()).fold(0.0, f64::max).max(1.0);
        }
        let opens = rule.open(group, end_of(week));
        let score = score(&opens, case.who, present(world, group, week));
        followed.called_scale |=
            opens.iter().any(|open| open.matter == Matter::ScaleOff && open.about == About::Group(group));
        followed.scores.push(score);
        if score.is_infinite() {
            break;
        }
    }
    followed
}

/// How surely somebody is told of. Of a group if that is told of the group, or of half of its members.
pub(crate) fn score(opens: &[Open], who: About, members: usize) -> f64 {
    let weights = || opens.iter().filter(|open| open.matter == Matter::Weight);
    let own = weights().filter(|open| open.about == who).map(|open| open.score).fold(0.0, f64::max);
    if !matches!(who, About::Group(_)) {
        return own;
    }
    let mut each: BTreeMap<About, f64> = BTreeMap::new();
    for open in weights().filter(|open| open.about != who) {
        let held = each.entry(open.about).or_default();
        *held = held.max(open.score);
    }
    let mut scores: Vec<f64> = each.into_values().collect();
    scores.sort_by(|a, b| b.total_cmp(a));
    let half = members.div_ceil(2).max(2);
    own.max(scores.get(half - 1).copied().unwrap_or(0.0))
}

fn present(world: &World, group: usize, week: usize) -> usize {
    world.animals.iter().filter(|one| one.group == group && one.is_there(week)).count()
}

fn end_of(week: usize) -> holt_audit::terms::Instant {
    start_of(week + 1) - TimeDelta::seconds(1)
}

/// Enters what a week brings.
fn enter<R: Rule>(
    world: &World,
    rule: &mut R,
    week: usize,
    lost: impl Fn(&Attempt) -> f64,
    mut count: Option<(&mut Entries, &mut BTreeMap<usize, usize>)>,
) {
    let Some(held) = world.weeks.get(week) else { return };
    for (fact, on) in &held.facts {
        rule.fact(fact, *on);
    }
    let mut rounds: BTreeMap<_, Vec<&Attempt>> = BTreeMap::new();
    for attempt in &held.attempts {
        let scale = attempt.entered(0.0, false).scale;
        rounds.entry((world.animals[attempt.animal].group, scale)).or_default().push(attempt);
    }
    for round in rounds.into_values() {
        let entered: Vec<Weighing> = round.iter().map(|one| one.entered(lost(one), false)).collect();
        let answered = rule.round(&entered);
        if let Some((entries, _)) = &mut count {
            let right = round.iter().all(|one| one.slip == 0.0);
            let even = round.iter().all(|one| one.more.abs() < 0.01)
                && !world.scale_steps.iter().any(|step| (*step..step + 16).contains(&week));
            entries.rounds += 1;
            entries.exchanges += usize::from(right && answered.exchanges > 0);
            entries.scale_off += usize::from(even && answered.scale_off);
        }
        let mut again: Vec<Weighing> = Vec::new();
        for ((attempt, weighing), answer) in round.iter().zip(&entered).zip(&answered.each) {
            let aside = matches!(answer, Answer::SetAside { .. });
            if aside && attempt.again {
                again.push(attempt.entered(lost(attempt), true));
            }
            let (Some((entries, row)), Some(mass)) = (&mut count, weighing.mass) else { continue };
            if attempt.slip != 0.0 {
                entries.wrong += 1;
                entries.taken_wrong += usize::from(!aside);
                continue;
            }
            entries.right += 1;
            let so_far = row.entry(attempt.animal).or_default();
            *so_far = if aside { *so_far + 1 } else { 0 };
            entries.longest = entries.longest.max(*so_far);
            entries.set_aside += usize::from(aside);
            entries.inside += usize::from(match answer {
                Answer::SetAside { low, high } => *low <= mass && mass <= *high,
                Answer::Taken => false,
            });
        }
        if !again.is_empty() {
            rule.round(&again);
        }
    }
}

/// The losses that are tried out in a world: each member once while it is grown and once while it is young, and
/// each group once.
pub(crate) fn cases(world: &World, seed: u64) -> Vec<Case> {
    let mut chance = Chance::seeded(seed);
    let mut cases = Vec::new();
    let last = WEEKS - PATIENCE;
    for (place, animal) in world.animals.iter().enumerate() {
        let end = last.min(animal.leaves.saturating_sub(PATIENCE));
        let grown = week_of((animal.life.born + world.species.grown_at).ceil());
        let who = About::Animal(place);
        let first = (animal.joins + KNOWN).max(grown);
        if first < end {
            let onset = whole(&mut chance, first, end);
            let busy = animal.life.pregnancies.iter().any(|one| one.is_busy(onset as f64));
            let class = if busy { Class::Mother } else { Class::Grown };
            cases.extend(Loss::ALL[..4].iter().map(|&loss| Case { who, class, loss, onset }));
        }
        // Up to the age at which three quarters of the time to be grown have passed.
        let young = week_of(animal.life.born + 0.6 * world.species.grown_at).min(end);
        let first = animal.joins + KNOWN_YOUNG;
        if first < young {
            let onset = whole(&mut chance, first, young);
            let class = Class::Young;
            cases.extend(Loss::ALL.iter().map(|&loss| Case { who, class, loss, onset }));
        }
    }
    for group in 0..world.shape.groups {
        let onset = week_of(between(&mut chance, 60.0, last as f64));
        if present(world, group, onset) >= FEW {
            let (who, class) = (About::Group(group), Class::Group);
            cases.extend(Loss::ALL[..4].iter().map(|&loss| Case { who, class, loss, onset }));
        }
    }
    cases
}

/// What is carried in an episode: whether it was told of, and how urgent at most.
pub(crate) fn is_urgent(open: &Open) -> bool {
    open.severity == Severity::Urgent
}
