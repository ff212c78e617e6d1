//! A rule that knows what nobody can: what each animal would weigh if all were well, how far its weighings
//! scatter, and how fast it will lose. No rule can be much better; how close one comes is what counts.
//!
//! What an animal's weight wanders by is filtered out (Kalman 1960), and what is left is held against each week
//! in which the loss may have begun, by likelihood (Page 1954; Lai 1995 for losses that grow).

use crate::chance::count;
use crate::rule::{About, Answer, Answered, Fact, Matter, Open, Rule, Weighing};
use crate::run::Loss;
use crate::world::{MORNINGS, World};
use holt_audit::episode::Severity;
use holt_audit::terms::{Day, Instant, Mass};
use std::collections::BTreeMap;

/// Onsets that are kept in mind.
const ONSETS: usize = 40;
/// Weeks after which a score is forgotten.
const STALE: f64 = 4.0;

/// Knows all of a world, and one kind of loss.
#[derive(Clone, Debug)]
pub(crate) struct Oracle<'a> {
    world: &'a World,
    loss: Loss,
    /// Each animal, and each group as one.
    tracks: BTreeMap<About, Track>,
    /// What was weighed of a group since it was looked at: animal, moment, off what is right, variance.
    weighed: BTreeMap<usize, Vec<(usize, f64, f64, f64)>>,
    there: Vec<bool>,
}

impl<'a> Oracle<'a> {
    pub(crate) const fn new(world: &'a World, loss: Loss) -> Self {
        Self { world, loss, tracks: BTreeMap::new(), weighed: BTreeMap::new(), there: Vec::new() }
    }
}

/// A filter with what each onset would have made of it.
#[derive(Clone, Debug, Default)]
struct Track {
    moment: Option<f64>,
    wander: f64,
    variance: f64,
    onsets: Vec<Onset>,
    score: f64,
}

#[derive(Clone, Copy, Debug)]
struct Onset {
    at: f64,
    /// What the loss since then has moved the filter by.
    moved: f64,
    /// ln likelihood against none.
    odds: f64,
}

impl Track {
    /// Takes in how far a weighing lay off, with its variance; `signal` is what a loss since a moment makes.
    fn add(
        &mut self,
        moment: f64,
        off: f64,
        noise: f64,
        restless: f64,
        memory: f64,
        signal: impl Fn(f64) -> f64,
    ) {
        let kept = self.moment.map_or(0.0, |before| memory.powf(moment - before));
        self.wander *= kept;
        self.variance = kept * kept * self.variance + (1.0 - kept * kept) * restless * restless;
        let spread = self.variance + noise;
        let gain = self.variance / spread;
        let limit = 4.0 * spread.sqrt();
        let news = (off - self.wander).clamp(-limit, limit);
        // It may have begun at any time since it was weighed last.
        let begun = self.moment.map_or(moment - 1.0, |before| 0.5 * (before + moment));
        self.onsets.push(Onset { at: begun.min(moment), moved: 0.0, odds: 0.0 });
        if self.onsets.len() > ONSETS {
            self.onsets.remove(0);
        }
        self.score = 0.0;
        for onset in &mut self.onsets {
            onset.moved *= kept;
            let expected = signal(onset.at) - onset.moved;
            onset.odds += (news * expected - 0.5 * expected * expected) / spread;
            onset.moved += gain * expected;
            self.score = self.score.max(onset.odds);
        }
        self.wander += gain * news;
        self.variance *= 1.0 - gain;
        self.moment = Some(moment);
    }
}

impl Rule for Oracle<'_> {
    fn fact(&mut self, fact: &Fact, _: Day) {
        match *fact {
            Fact::Joins { animal, .. } => {
                self.there.resize(self.there.len().max(animal + 1), false);
                self.there[animal] = true;
            }
            Fact::Leaves { animal } => self.there[animal] = false,
            _ => {}
        }
    }

    fn round(&mut self, round: &[Weighing]) -> Answered {
        let mut each = Vec::with_capacity(round.len());
        for weighing in round {
            let Some((attempt, mass)) = self.world.attempt(weighing).zip(weighing.mass) else {
                each.push(Answer::Taken);
                continue;
            };
            // It knows a slip when it sees one; who weighs again does not slip again.
            if attempt.slip != 0.0 && weighing.at == attempt.at {
                each.push(Answer::SetAside { low: Mass::from_mg(1), high: Mass::from_mg(2) });
                continue;
            }
            let off = mass.grams().ln() - attempt.right;
            let life = &self.world.animals[attempt.animal].life;
            let (noise, memory) = (self.world.noise(attempt), self.world.shape.memory);
            let signal = |onset: f64| self.loss.log(self.world, attempt.animal, onset, attempt.moment);
            let track = self.tracks.entry(About::Animal(attempt.animal)).or_default();
            track.add(attempt.moment, off, noise + MORNINGS * MORNINGS, life.restless, memory, signal);
            let group = self.world.animals[attempt.animal].group;
            self.weighed.entry(group).or_default().push((attempt.animal, attempt.moment, off, noise));
            each.push(Answer::Taken);
        }
        Answered { each, exchanges: 0, scale_off: false }
    }

    fn open(&mut self, group: usize, at: Instant) -> Vec<Open> {
        let weighed = self.weighed.remove(&group).unwrap_or_default();
        let about = About::Group(group);
        if weighed.len() >= 2 {
            let n = count(weighed.len());
            let mean = |part: fn(&(usize, f64, f64, f64)) -> f64| weighed.iter().map(part).sum::<f64>() / n;
            let restless = |one: &(usize, f64, f64, f64)| self.world.animals[one.0].life.restless.powi(2);
            let restless = (weighed.iter().map(restless).sum::<f64>() / n / n).sqrt();
            let (moment, off, noise) = (mean(|one| one.1), mean(|one| one.2), mean(|one| one.3) / n);
            let signal = |onset: f64| self.loss.log(self.world, weighed[0].0, onset, moment);
            let memory = self.world.shape.memory;
            self.tracks.entry(about).or_default().add(
                moment,
                off,
                noise + MORNINGS * MORNINGS,
                restless,
                memory,
                signal,
            );
        }
        let now = (at - crate::world::start_of(0)).num_hours() as f64 / 168.0;
        let news = |track: &Track| track.moment.is_some_and(|then| now - then < STALE);
        let counts = |about: &About| match *about {
            About::Animal(animal) => self.there[animal] && self.world.animals[animal].group == group,
            About::Group(own) => own == group,
        };
        self.tracks
            .iter()
            .filter(|(about, track)| counts(about) && news(track))
            .map(|(about, track)| Open {
                about: *about,
                matter: Matter::Weight,
                severity: Severity::Act,
                score: track.score,
            })
            .collect()
    }
}
