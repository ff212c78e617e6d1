//! Whether an animal is under pressure, as a state that is not seen and lasts.
//!
//! A hidden Markov model (Rabiner 1989, Proc IEEE 77:257), filtered forward week by week. In each week an animal
//! is in one of six states; what was seen of it in that week is more or less likely in each:
//!
//! - calm: as its own calm weeks and its companions' present lead one to expect;
//! - a bad spell: chased for days, as in oestrus or after a quarrel, and over soon;
//! - withdrawn: by itself without being chased or kept off food, as when ill or with young;
//! - mildly pressed, hard pressed, and shunned (kept off food and company and hardly chased): these three last,
//!   and the probability of being pushed out is that of being in one of them.
//!
//! The likelihood of a week knows what was watched in it: counts over the hours watched are negative binomial,
//! feeds and scans beta-binomial, and a week in which nothing was watched says nothing, in either direction.
//! What is usual for an animal is learned from its own weeks by as much as it was calm in them, so that weeks
//! under pressure are no yardstick, and it begins with what its companions are like.
//!
//! The parameters are fitted on simulated societies (`examples/exclusion_calibration`).

use super::evidence::{Evidence, Reader};
use super::record::Record;
use super::seen::Counts;
use crate::standing::contests::Misfit;
use crate::terms::Instant;
use statrs::function::beta::ln_beta;
use statrs::function::gamma::ln_gamma;

/// Number of states; those from [`PRESSED`] on are pressure.
pub(super) const STATES: usize = 6;
pub(super) const PRESSED: usize = 3;
/// Kinds of counts: aggression, food, company.
pub(super) const COUNTED: usize = 3;

/// Part of what is known of its calm weeks that an animal keeps from one week to the next.
const KEPT: f64 = 0.99;
/// How many events, and trials, its companions are worth at first.
const PRIOR_EVENTS: f64 = 2.0;
const PRIOR_TRIALS: f64 = 5.0;
/// No count is predicted more sharply than so many events or trials of the past would: moods differ.
const MOST_EVENTS: f64 = 8.0;
const MOST_TRIALS: f64 = 16.0;
/// Aggression comes in bouts: by how much that inflates the variance of a count.
const BOUTS: f64 = 0.6;
/// Weeks that tell how the companions fare now.
const PRESENT: usize = 3;
/// What nobody has seen yet is taken to be so: events an hour, and shares of feeds and scans.
const USUAL: [f64; 3] = [0.6, 0.1, 0.2];
/// ln odds against the likeliest state beyond which one week says no more.
const MOST_A_WEEK: f64 = 6.0;

/// What is fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Model {
    /// ln of the factor of events an hour, and events an hour that come on top, by state.
    pub chased: [f64; STATES],
    /// The same.
    pub chased_more: [f64; STATES],
    /// ln odds of being kept off food, and of being alone, on top of the calm ones, by state.
    pub kept_off: [f64; STATES],
    /// The same.
    pub alone: [f64; STATES],
    /// Spreads by which weight goes above that of the companions, by state.
    pub weight: [f64; STATES],
    /// ln odds of beginning a bad spell, of withdrawing and of being pressed, in a calm week.
    pub begins: [f64; 3],
    /// ln odds of a bad spell, of withdrawing and of pressure to end in a week.
    pub ends: [f64; 3],
    /// What a breeder of its own sex adds to the ln odds of being pressed, and a change of the group.
    pub rival: f64,
    /// The same.
    pub change: f64,
    /// What a unit of a fall in standing adds, and what being rated without one takes away.
    pub fall: f64,
    /// Part of the ln likelihood of a week that is believed: weeks resemble each other.
    pub belief: f64,
    /// ln odds that are told, for those that were worked out: slope and intercept.
    pub told: [f64; 2],
}

/// The parameters in use.
pub const MODEL: Model = Model {
    chased: [0.0, 1.1, 0.0, 0.4, 0.7, 0.1],
    chased_more: [0.0, 0.3, 0.0, 0.5, 2.5, 0.3],
    kept_off: [0.0, 0.9, 0.2, 1.1, 2.4, 2.0],
    alone: [0.0, 0.4, 1.1, 0.9, 2.0, 2.0],
    weight: [0.2, 0.0, -0.6, -0.5, -0.9, -0.9],
    begins: [-3.2, -4.2, -5.8],
    ends: [-0.2, -1.6, -3.2],
    rival: 0.7,
    change: 0.7,
    fall: 0.3,
    belief: 0.8,
    told: [0.78, -0.55],
};

impl Model {
    /// Each number that is fitted.
    pub fn numbers(&mut self) -> Vec<&mut f64> {
        let Self {
            chased,
            chased_more,
            kept_off,
            alone,
            weight,
            begins,
            ends,
            rival,
            change,
            fall,
            belief,
            told,
        } = self;
        let mut numbers: Vec<&mut f64> = Vec::new();
        for of_states in [chased, chased_more, kept_off, alone] {
            numbers.extend(&mut of_states[1..]);
        }
        numbers.extend(weight);
        numbers.extend(begins);
        numbers.extend(ends);
        numbers.extend([rival, change, fall, belief]);
        numbers.extend(told);
        numbers
    }
}

/// What is known of an animal in a week.
#[derive(Clone, Copy, Debug, Default)]
pub struct Week {
    pub(super) own: Counts,
    pub(super) others: Counts,
    /// The group had changed shortly before.
    pub(super) changed: bool,
}

/// How likely each state is after a week, and what the kinds of counts said of pressure in it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Belief {
    pub(super) states: [f64; STATES],
    /// ln likelihood of being pressed over that of being calm.
    pub(super) spoke: [f64; COUNTED],
}

impl Belief {
    /// Before anything was seen.
    pub(super) const fn calm() -> Self {
        Self { states: [1.0, 0.0, 0.0, 0.0, 0.0, 0.0], spoke: [0.0; COUNTED] }
    }

    pub(super) fn pressed(&self) -> f64 {
        self.states[PRESSED..].iter().sum()
    }
}

/// What counts once, at the end, and not week by week.
#[derive(Clone, Copy, Debug, Default)]
pub struct Last {
    /// Weight against the companions, in spreads.
    pub weight: Option<f64>,
    /// How far it fell in standing, in stakes.
    pub fall: Option<f64>,
}

impl Last {
    pub(super) fn of<A>(evidence: &[Evidence<A>]) -> Self {
        let mut last = Self::default();
        for one in evidence {
            match one {
                Evidence::Weight { z } => last.weight = Some(*z),
                Evidence::Fall { .. } => last.fall = Some(one.strength()),
                _ => {}
            }
        }
        last
    }
}

/// The weeks of one member, to fit and measure a model on.
#[derive(Clone, Debug)]
pub struct Course {
    weeks: Vec<Week>,
    ends: Vec<Instant>,
    rival: bool,
}

/// The weeks of each member of a group up to an instant.
///
/// # Errors
/// A contest of an animal with itself.
pub fn courses<A: Clone + Ord>(record: &Record<A>, as_of: Instant) -> Result<Vec<Course>, Misfit<A>> {
    let reader = Reader::new(record, as_of)?;
    let course = |place| {
        let weeks = reader.weeks(place, as_of);
        Course {
            ends: weeks.iter().map(|(stretch, _)| stretch.until).collect(),
            weeks: weeks.into_iter().map(|(_, week)| week).collect(),
            rival: reader.has_rival(place),
        }
    };
    Ok((0..record.members.len()).map(course).collect())
}

impl Course {
    /// The probability that would have been told at the end of each week, given what counts once at that time.
    #[must_use]
    pub fn told(&self, model: &Model, last: impl Fn(Instant) -> Last) -> Vec<(Instant, f64)> {
        let beliefs = filter(&self.weeks, self.rival, model);
        self.ends.iter().zip(&beliefs).map(|(at, belief)| (*at, told(belief, last(*at), model))).collect()
    }
}

/// What is usual of one kind of count: hits (or events) of trials (or hours).
#[derive(Clone, Copy, Default)]
struct Usual {
    hits: f64,
    of: f64,
}

/// Filters the weeks of an animal.
pub(super) fn filter(weeks: &[Week], rival: bool, model: &Model) -> Vec<Belief> {
    let mut beliefs: Vec<Belief> = Vec::with_capacity(weeks.len());
    let mut states = [0.0; STATES];
    states[0] = 1.0;
    let mut own = [Usual::default(); COUNTED];
    let mut others = [Usual::default(); COUNTED];
    for (place, week) in weeks.iter().enumerate() {
        states = moved(&states, rival, week.changed, model);
        let late = &weeks[place.saturating_sub(PRESENT - 1)..=place];
        let mut now = [Usual::default(); COUNTED];
        for counts in late.iter().map(|week| pairs(&week.others)) {
            for (sum, pair) in now.iter_mut().zip(counts) {
                sum.hits += pair.hits;
                sum.of += pair.of;
            }
        }
        let counts = pairs(&week.own);
        let mut said = [[0.0; STATES]; COUNTED];
        let mut shifts = [1.0; COUNTED];
        for kind in 0..COUNTED {
            let (likely, shift) = likelihoods(kind, counts[kind], own[kind], others[kind], now[kind], model);
            said[kind] = likely;
            shifts[kind] = shift;
        }
        let sums: [f64; STATES] =
            std::array::from_fn(|state| said.iter().map(|likely| likely[state]).sum::<f64>());
        let most = sums.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let logs = sums.map(|sum| model.belief * (sum - most).max(-MOST_A_WEEK));
        states = weighed(&states, &logs);
        let pressed: f64 = states[PRESSED..].iter().sum();
        let spoke = std::array::from_fn(|kind| {
            let parts = (PRESSED..STATES)
                .map(|state| states[state] / pressed.max(1e-12) * (said[kind][state] - said[kind][0]));
            model.belief * parts.sum::<f64>()
        });
        beliefs.push(Belief { states, spoke });
        for (kind, pair) in pairs(&week.others).into_iter().enumerate() {
            others[kind].hits = KEPT * others[kind].hits + pair.hits;
            others[kind].of = KEPT * others[kind].of + pair.of;
        }
        // A calm week teaches what is usual; as the companions stood then, not as they stand now.
        for (kind, pair) in counts.into_iter().enumerate() {
            own[kind].hits = KEPT * own[kind].hits + states[0] * pair.hits / shifts[kind];
            own[kind].of = KEPT * own[kind].of + states[0] * pair.of;
        }
    }
    beliefs
}

/// The probability that is told, given the last week and what counts once.
pub(super) fn told(last: &Belief, more: Last, model: &Model) -> f64 {
    let logs: [f64; STATES] = std::array::from_fn(|state| {
        let pressed = state >= PRESSED;
        let weight = more.weight.map_or(0.0, |z| of_weight(z, state, model) - of_weight(z, 0, model));
        let fall = more.fall.filter(|_| pressed).map_or(0.0, |fall| of_fall(fall, model));
        weight + fall
    });
    let states = weighed(&last.states, &logs);
    let pressed: f64 = states[PRESSED..].iter().sum();
    let odds = (pressed.clamp(1e-6, 1.0 - 1e-6) / (1.0 - pressed).clamp(1e-6, 1.0)).ln();
    1.0 / (1.0 + (-(model.told[0] * odds + model.told[1])).exp())
}

/// ln likelihood of a weight in a state: its spread among the companions is wider than one, for robust spreads of
/// few are.
pub(super) fn of_weight(z: f64, state: usize, model: &Model) -> f64 {
    -0.5 * ((z.clamp(-4.0, 4.0) - model.weight[state]) / 1.6).powi(2)
}

/// ln odds that a fall in standing adds, by so many stakes.
pub(super) fn of_fall(stakes: f64, model: &Model) -> f64 {
    model.fall * (stakes.clamp(0.0, 4.0) - 0.5)
}

/// ln odds of pressure that a weight says.
pub(super) fn weight_speaks(last: &Belief, z: f64, model: &Model) -> f64 {
    let pressed = last.pressed().max(1e-12);
    (PRESSED..STATES)
        .map(|state| last.states[state] / pressed * (of_weight(z, state, model) - of_weight(z, 0, model)))
        .sum()
}

fn logistic(odds: f64) -> f64 {
    1.0 / (1.0 + (-odds).exp())
}

/// The states a week later.
fn moved(states: &[f64; STATES], rival: bool, changed: bool, model: &Model) -> [f64; STATES] {
    let more = if rival { model.rival } else { 0.0 } + if changed { model.change } else { 0.0 };
    let [spell, withdrawn, pressed] = model.begins;
    let (spell, withdrawn, pressed) = (logistic(spell), logistic(withdrawn), logistic(pressed + more));
    let [spell_ends, withdrawn_ends, pressed_ends] = model.ends.map(logistic);
    // Pressure begins mildly more often than hard, and rises and falls while it lasts.
    let split = [0.55, 0.25, 0.2];
    let mut next = [0.0; STATES];
    let mut flow = |from: usize, to: usize, part: f64| next[to] += states[from] * part;
    flow(0, 0, 1.0 - spell - withdrawn - pressed);
    flow(0, 1, spell);
    flow(0, 2, withdrawn);
    let worse = (3.0 * pressed).min(0.3);
    flow(1, 1, (1.0 - worse) * (1.0 - spell_ends));
    flow(1, 0, (1.0 - worse) * spell_ends);
    flow(2, 2, (1.0 - pressed) * (1.0 - withdrawn_ends));
    flow(2, 0, (1.0 - pressed) * withdrawn_ends);
    for (kind, part) in split.into_iter().enumerate() {
        let state = PRESSED + kind;
        flow(0, state, pressed * part);
        flow(1, state, worse * part);
        flow(2, state, pressed * part);
        flow(state, 0, pressed_ends);
        // From one kind of pressure to another.
        flow(state, state, (1.0 - pressed_ends) * 0.88);
        for (other, share) in split.into_iter().enumerate().filter(|(other, _)| *other != kind) {
            flow(state, PRESSED + other, (1.0 - pressed_ends) * 0.12 * share / (1.0 - part));
        }
    }
    next
}

/// States weighed by ln likelihoods.
fn weighed(states: &[f64; STATES], logs: &[f64; STATES]) -> [f64; STATES] {
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let parts: [f64; STATES] = std::array::from_fn(|state| states[state] * (logs[state] - most).exp());
    let sum: f64 = parts.iter().sum();
    parts.map(|part| part / sum)
}

fn pairs(counts: &Counts) -> [Usual; COUNTED] {
    let Counts { aggression, feeds, alone } = *counts;
    [
        Usual { hits: f64::from(aggression.events), of: aggression.hours },
        Usual { hits: f64::from(feeds.hits), of: f64::from(feeds.of) },
        Usual { hits: f64::from(alone.hits), of: f64::from(alone.of) },
    ]
}

/// ln likelihood of a week's count in each state, and by what factor the companions' present moves what is usual.
fn likelihoods(
    kind: usize,
    seen: Usual,
    own: Usual,
    others: Usual,
    now: Usual,
    model: &Model,
) -> ([f64; STATES], f64) {
    let usual = USUAL[kind];
    // Companions of the past tell what animals here are like, or those of now where there are none.
    let like = if others.of > 0.0 { others } else { now };
    let typical = (like.hits + 2.0 * usual) / (like.of + 2.0);
    if kind == 0 {
        // Two events of each are worth no move.
        let shift = ((now.hits + 2.0) / (typical * now.of + 2.0)).clamp(0.6, 2.5);
        if seen.of <= 0.0 {
            return ([0.0; STATES], shift);
        }
        let (shape, rate) = (PRIOR_EVENTS + own.hits, PRIOR_EVENTS / typical + own.of);
        let calm = shape / rate * shift;
        let likely = std::array::from_fn(|state| {
            let mean = (calm * model.chased[state].exp() + model.chased_more[state].max(0.0)) * seen.of;
            counted(seen.hits, mean, mean / (BOUTS + mean / shape.min(MOST_EVENTS)))
        });
        return (likely, shift);
    }
    let odds = |hits: f64, of: f64| {
        let share = ((hits + 3.0 * typical) / (of + 3.0)).clamp(0.01, 0.99);
        share / (1.0 - share)
    };
    let shift = (odds(now.hits, now.of) / odds(0.0, 0.0)).clamp(0.6, 2.5);
    if seen.of <= 0.0 {
        return ([0.0; STATES], shift);
    }
    let strength = PRIOR_TRIALS + own.of;
    let share = ((PRIOR_TRIALS * typical + own.hits) / strength).clamp(0.01, 0.95);
    let calm = (share / (1.0 - share)).ln() + shift.ln();
    let strength = strength.min(MOST_TRIALS);
    let more = if kind == 1 { &model.kept_off } else { &model.alone };
    let likely = std::array::from_fn(|state| {
        let mean = logistic(calm + more[state]);
        let (a, b) = (strength * mean, strength * (1.0 - mean));
        ln_beta(seen.hits + a, seen.of - seen.hits + b) - ln_beta(a, b)
    });
    (likely, shift)
}

/// ln probability of a count, negative binomial of a mean and a shape, up to what does not depend on them.
fn counted(events: f64, mean: f64, shape: f64) -> f64 {
    ln_gamma(events + shape) - ln_gamma(shape)
        + shape * (shape / (shape + mean)).ln()
        + events * (mean / (shape + mean)).ln()
}
