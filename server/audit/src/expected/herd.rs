//! The animals of one kind at one site, and each round that they are weighed in.

use super::animal::{Animal, Around, Entry, Seen};
use super::curve::Curve;
use super::noise::Learnt;
use super::onsets::{Change, Course};
use super::rate::{Rate, Whose};
use super::shared::{Like, Off, Shared};
use super::stage::{Life, Stage};
use crate::reading::Scale;
use crate::stats::median_mad;
use crate::terms::Sex;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What a site has said of a kind.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kind {
    /// Its weight goes with the season.
    pub seasonal: bool,
    /// How long it carries, in weeks.
    pub gestation: Option<f64>,
    /// From which age in weeks it breeds: until then it is young.
    pub breeds_from: Option<f64>,
}

/// One reading of a round.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Weighing {
    /// The animal.
    pub animal: u64,
    /// When, in weeks.
    pub at: f64,
    /// ln grams.
    pub log: f64,
    /// On which scale.
    pub scale: Scale,
    /// What the scale counts in, as a share of the mass.
    pub step: f64,
}

/// What one reading was held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// ln grams expected.
    pub expected: f64,
    /// Standard deviation of a reading about that.
    pub spread: f64,
    /// Whether it waits for another.
    pub waits: bool,
}

/// A loss that is likelier than none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loss {
    /// ln of how many times likelier.
    pub odds: f64,
    /// How often a year healthy ones of the kind reach that.
    pub rate: f64,
    /// Since when, in weeks.
    pub since: f64,
    /// How it goes on.
    pub course: Course,
    /// ln mass lost by now; negative.
    pub now: f64,
    /// Stage.
    pub stage: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Offset {
    mean: f64,
    variance: f64,
}

/// All that is kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Herd {
    kind: Kind,
    lives: BTreeMap<u64, (Life, u64)>,
    animals: BTreeMap<u64, Animal>,
    shared: BTreeMap<(u64, Like), Shared>,
    scales: BTreeMap<Scale, Offset>,
    learnt: Learnt,
    curve: Curve,
    rates: BTreeMap<Whose, Rate>,
}

impl Herd {
    /// Of a kind.
    #[must_use]
    pub fn new(kind: Kind) -> Self {
        Self {
            kind,
            lives: BTreeMap::new(),
            animals: BTreeMap::new(),
            shared: BTreeMap::new(),
            scales: BTreeMap::new(),
            learnt: Learnt::default(),
            curve: Curve::default(),
            rates: BTreeMap::new(),
        }
    }

    /// An animal lives in a group from now on.
    pub fn joins(&mut self, animal: u64, group: u64, sex: Sex, born: Option<f64>) {
        self.lives.insert(animal, (Life { sex, born }, group));
    }

    /// It is there no more.
    pub fn leaves(&mut self, animal: u64) {
        self.lives.remove(&animal);
        self.animals.remove(&animal);
    }

    /// She carries.
    pub fn carries(&mut self, animal: u64, at: f64) {
        if let Some(animal) = self.animals.get_mut(&animal) {
            animal.carries(at, None);
        }
    }

    /// It carries nothing.
    pub fn carries_no_more(&mut self, animal: u64) {
        if let Some(animal) = self.animals.get_mut(&animal) {
            animal.carries_no_more();
        }
    }

    /// She has given birth.
    pub fn gives_birth(&mut self, animal: u64, at: f64) {
        if let Some(animal) = self.animals.get_mut(&animal) {
            animal.bears(at);
        }
    }

    /// It moults or is in rut, or no more.
    pub fn rests(&mut self, animal: u64, begins: bool) {
        if let Some(animal) = self.animals.get_mut(&animal) {
            animal.rests(begins);
        }
    }

    /// ln grams of the grown, of one sex where there are some, but for one.
    fn grown(&self, sex: Sex, but: u64) -> Option<f64> {
        let of = |same: bool| -> Vec<f64> {
            self.animals
                .iter()
                .filter(|(id, one)| **id != but && one.stage != Stage::Growing)
                .filter(|(_, one)| !same || one.life.sex == sex)
                .map(|(_, one)| one.level())
                .collect()
        };
        let mut own = of(true);
        if own.len() < 2 {
            own = of(false);
        }
        median_mad::median(&mut own)
    }

    fn around(&self, sex: Sex, but: u64) -> Around {
        Around {
            noise: self.learnt.noise(),
            grown: self.grown(sex, but),
            breeds_from: self.kind.breeds_from,
            gestation: self.kind.gestation,
            seasonal: self.kind.seasonal,
            curve: self.curve,
        }
    }

    /// Takes in the readings of a group of one day.
    pub fn round(&mut self, group: u64, round: &[Weighing]) -> Vec<Judged> {
        let mut judged = vec![Judged { expected: f64::NAN, spread: f64::NAN, waits: false }; round.len()];
        for like in [Like::Grown, Like::Growing] {
            let (mut places, mut offs, mut arounds) = (Vec::new(), Vec::new(), Vec::new());
            let mut new = Vec::new();
            for (place, weighing) in round.iter().enumerate() {
                let Some((life, _)) = self.lives.get(&weighing.animal) else { continue };
                let around = self.around(life.sex, weighing.animal);
                let known = self.animals.get(&weighing.animal);
                let growing = life.is_young(weighing.at, &around);
                if growing != (like == Like::Growing) {
                    continue;
                }
                let first = self.scales.is_empty();
                let offset = *self.scales.entry(weighing.scale).or_insert(Offset {
                    mean: 0.0,
                    variance: if first { 0.0 } else { 0.015 * 0.015 },
                });
                let beside = offset.variance + (weighing.step * weighing.step) / 12.0;
                let Some(animal) = known else {
                    new.push((place, offset.mean, beside, around));
                    continue;
                };
                let (expected, variance) = animal.foresees(weighing.at, &around);
                places.push(place);
                let log = weighing.log - offset.mean - expected;
                offs.push(Off { log, variance: variance + beside });
                arounds.push((around, expected, offset.mean, beside));
            }
            let Some(at) = places.iter().chain(new.iter().map(|(place, ..)| place)).map(|&place| round[place].at).reduce(f64::max)
            else {
                continue;
            };
            let seasonal = self.kind.seasonal;
            let shared = self.shared.entry((group, like)).or_insert_with(|| Shared::new(like, at, seasonal));
            let each = shared.of_each(at, &offs);
            let mut taken = Vec::new();
            for (n, &place) in places.iter().enumerate() {
                let weighing = &round[place];
                let (around, expected, offset, beside) = &arounds[n];
                let part = each[n];
                let seen = Seen {
                    at: weighing.at,
                    shown: weighing.log,
                    log: weighing.log - offset - part.mean,
                    variance: beside + part.variance,
                };
                let Some(animal) = self.animals.get_mut(&weighing.animal) else { continue };
                let weeks = seen.at - animal.at;
                let entry = animal.takes(&seen, around);
                let odds = animal.loss().filter(|loss| loss.now < -LEAST).map_or(0.0, |loss| loss.odds);
                self.rates.entry(whose(animal)).or_default().follows(&mut animal.peak, odds, weeks);
                judged[place] = Judged {
                    expected: expected + offset + part.mean,
                    spread: (offs[n].variance + part.variance).sqrt(),
                    waits: entry == Entry::Waits,
                };
                if entry == Entry::Taken && !matches!(animal.stage, Stage::Carrying { .. } | Stage::Resting { .. }) {
                    taken.push((weighing.scale, offs[n]));
                }
                if let Some(grown) = around.grown.filter(|_| entry == Entry::Taken && animal.stage == Stage::Growing && animal.readings > 3) {
                    self.curve.learns((animal.level() - grown).min(0.0), animal.slope());
                }
                if entry == Entry::Taken && animal.stage == Stage::Grown && animal.readings > 3 {
                    for (lag, difference) in animal.pairs() {
                        self.learnt.pair(lag, difference);
                    }
                }
            }
            if let Some(shared) = self.shared.get_mut(&(group, like)) {
                // What a scale of its own shows more of, seen from what was foreseen.
                let by_scale: BTreeMap<Scale, Vec<Off>> =
                    places.iter().zip(&offs).fold(BTreeMap::new(), |mut all, (&place, off)| {
                        all.entry(round[place].scale).or_default().push(*off);
                        all
                    });
                let foreseen = shared.foresees(at);
                let mut corrections: BTreeMap<Scale, f64> = BTreeMap::new();
                for (scale, offs) in by_scale {
                    let Some(offset) = self.scales.get_mut(&scale) else { continue };
                    let weight: f64 = offs.iter().map(|off| off.variance.recip()).sum();
                    let middle = offs.iter().map(|off| off.log / off.variance).sum::<f64>() / weight;
                    let variance = foreseen.variance + weight.recip();
                    let gain = offset.variance / (offset.variance + variance);
                    let more = gain * (middle - foreseen.mean);
                    offset.mean += more;
                    offset.variance *= 1.0 - gain;
                    corrections.insert(scale, more);
                }
                let weeks = at - shared.at;
                let taken: Vec<Off> = taken
                    .into_iter()
                    .map(|(scale, off)| Off { log: off.log - corrections.get(&scale).unwrap_or(&0.0), ..off })
                    .collect();
                shared.takes(at, &taken);
                if like == Like::Grown {
                    let odds = shared.loss().filter(|loss| loss.now < -LEAST_GROUP).map_or(0.0, |loss| loss.odds);
                    self.rates.entry(Whose::Group).or_default().follows(&mut shared.peak, odds, weeks);
                }
                let part = shared.foresees(at);
                for (place, offset, beside, around) in new {
                    let weighing = &round[place];
                    let Some((life, _)) = self.lives.get(&weighing.animal) else { continue };
                    let seen = Seen {
                        at: weighing.at,
                        shown: weighing.log,
                        log: weighing.log - offset - part.mean,
                        variance: beside + part.variance,
                    };
                    self.animals.insert(weighing.animal, Animal::first(*life, &seen, &around));
                }
            }
        }
        self.learnt.refit();
        judged
    }

    /// The likeliest loss of an animal.
    #[must_use]
    pub fn loss(&self, animal: u64) -> Option<Loss> {
        let one = self.animals.get(&animal)?;
        let Change { odds, since, course, now, .. } = one.loss().filter(|loss| loss.now < -LEAST)?;
        let whose = whose(one);
        let rate = self.rates.get(&whose).copied().unwrap_or_default().of(whose, odds);
        Some(Loss { rate, odds, since, course, now, stage: match one.stage { Stage::Growing => 1, Stage::Carrying { .. } => 2, Stage::Nursing { .. } => 3, Stage::Resting { .. } => 4, Stage::Grown => 0 } })
    }

    /// The likeliest loss of a group.
    #[must_use]
    pub fn loss_of_group(&self, group: u64) -> Option<Loss> {
        let shared = self.shared.get(&(group, Like::Grown))?;
        let Change { odds, since, course, now, .. } = shared.loss().filter(|loss| loss.now < -LEAST_GROUP)?;
        let rate = self.rates.get(&Whose::Group).copied().unwrap_or_default().of(Whose::Group, odds);
        Some(Loss { rate, odds, since, course, now, stage: 0 })
    }

    /// What was learnt of the kind's noise: of single readings, of wandering, and its memory.
    #[must_use]
    pub const fn noise(&self) -> (f64, f64, f64) {
        let noise = self.learnt.noise();
        (noise.single, noise.wander, noise.memory)
    }
}

/// Smallest loss that matters, in ln mass: of one animal, and of a group.
const LEAST: f64 = 0.025;
const LEAST_GROUP: f64 = 0.02;

fn whose(animal: &Animal) -> Whose {
    match animal.stage {
        Stage::Growing => Whose::Growing,
        Stage::Carrying { .. } | Stage::Nursing { .. } => Whose::Mother,
        Stage::Grown | Stage::Resting { .. } => Whose::Grown,
    }
}
