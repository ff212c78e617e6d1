//! The model of what an animal is expected to weigh.

use crate::Herds;
use crate::rule::{About, Answer, Answered, CERTAIN, Fact, Kind, Matter, Open, Rule, Weighing};
use crate::run;
use crate::table::Measured;
use holt_audit::expected::{self, Cause, Entry, Herd, Life, Slip};
use holt_audit::terms::{Day, Instant, RecordId};
use std::collections::BTreeMap;

/// The model at the limit that it finds by itself for a rate of false concerns.
#[derive(Clone, Debug)]
pub(crate) struct Model {
    herd: Herd,
    groups: BTreeMap<usize, usize>,
}

fn moment(day: Day) -> Instant {
    day.and_time(chrono::NaiveTime::MIN).and_utc() + chrono::TimeDelta::hours(12)
}

fn id(number: usize) -> RecordId {
    RecordId(number as u128)
}

impl Model {
    pub(crate) fn new(kind: Kind, false_a_year: f64) -> Self {
        let days = |days: i64| u32::try_from(days).ok();
        let herd = Herd::new(expected::Kind {
            seasonal: kind.seasonal,
            gestation_days: kind.gestation_days.and_then(days),
            breeds_from_days: days(kind.breeds_from_days),
            false_a_year,
        });
        Self { herd, groups: BTreeMap::new() }
    }
}

fn open(about: About, matter: Matter, loss: &expected::Loss) -> Option<Open> {
    loss.told.then_some(Open { about, matter, severity: loss.severity, score: CERTAIN })
}

/// Rates that are asked for.
const ASKED: [f64; 7] = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0];

/// Prints what the constants of `expected/rate.rs` are derived from: how often, and how high, odds rise in herds in
/// which nothing is wrong, and how many false concerns come of each rate that is asked for.
#[expect(clippy::print_stdout, reason = "it is run for the table it prints")]
pub(crate) fn rates(herds: &[Herds]) {
    let mut seen: BTreeMap<&str, [f64; 3]> = BTreeMap::new();
    for asked in ASKED {
        let measured = Measured::new(herds, |world, _| {
            let mut model = Model::new(world.kind, asked);
            let run = run::run(world, &mut model, &[]);
            for (whose, odds) in model.herd.known.odds_seen().filter(|_| asked <= ASKED[0]) {
                let sum = seen.entry(whose).or_default();
                for (sum, one) in sum.iter_mut().zip(odds) {
                    *sum += one;
                }
            }
            run
        });
        println!(
            "asked for {asked:.3} false an animal-year: {:.3}; {}",
            measured.false_rate(),
            measured.by_class()
        );
    }
    for (whose, [years, episodes, excess]) in seen {
        println!(
            "{whose}: {years:.0} years, {:.3} episodes a year, {:.3} above",
            episodes / years,
            excess / episodes
        );
    }
}

impl Rule for Model {
    fn fact(&mut self, fact: &Fact, on: Day) {
        let (animal, fact, at) = match *fact {
            Fact::Joins { animal, group, born, sex, .. } => {
                self.groups.insert(animal, group);
                let life = Life { sex, born: born.map(moment) };
                (animal, expected::Fact::Joins { life }, moment(on))
            }
            Fact::Leaves { animal } => (animal, expected::Fact::Leaves, moment(on)),
            Fact::Carries { animal } => (animal, expected::Fact::Carries, moment(on)),
            Fact::CarriesNoMore { animal } => (animal, expected::Fact::CarriesNoMore, moment(on)),
            Fact::Litter { dam, on } => (dam, expected::Fact::Birth, moment(on)),
            Fact::Rests { animal, begins: true, .. } => (animal, expected::Fact::RestBegins, moment(on)),
            Fact::Rests { animal, begins: false, .. } => (animal, expected::Fact::RestEnds, moment(on)),
            Fact::Feed { .. } => return,
        };
        let Some(group) = self.groups.get(&animal) else { return };
        self.herd.notes(id(*group), id(animal), at, &fact);
        if fact == expected::Fact::Leaves {
            self.groups.remove(&animal);
        }
    }

    fn round(&mut self, round: &[Weighing]) -> Answered {
        let mut each = vec![Answer::Taken; round.len()];
        let entered: Vec<(usize, expected::Weighing)> = round
            .iter()
            .enumerate()
            .filter_map(|(place, one)| {
                let scale = Some(RecordId(1 + u128::from(one.scale.0)));
                let (animal, at, step) = (id(one.animal), one.at, Some(one.step));
                Some((
                    place,
                    expected::Weighing { animal, at, mass: one.mass?, scale, step, accepted: false },
                ))
            })
            .collect();
        let Some(group) = round.first().and_then(|one| self.groups.get(&one.animal)).map(|group| id(*group))
        else {
            return Answered { each, exchanges: 0, scale_off: false };
        };
        let only: Vec<expected::Weighing> = entered.iter().map(|(_, one)| *one).collect();
        let mut exchanges = 0;
        for ((place, _), judged) in entered.iter().zip(self.herd.round(group, &only).judgements) {
            let Some(judged) = judged else { continue };
            exchanges += usize::from(matches!(judged.likely, Some(Slip::AnimalsExchanged { .. })));
            if let Some(expected) = judged.expected.filter(|_| judged.entry == Entry::Waits) {
                each[*place] = Answer::SetAside { low: expected.low, high: expected.high };
            }
        }
        let whole = self.herd.whole(group);
        let scale_off = whole.is_some_and(|whole| whole.loss.told && whole.cause == Cause::Scale);
        Answered { each, exchanges, scale_off }
    }

    fn open(&mut self, group: usize, _: Instant) -> Vec<Open> {
        let whole = self.herd.whole(id(group)).and_then(|whole| {
            let matter = if whole.cause == Cause::Scale { Matter::ScaleOff } else { Matter::Weight };
            open(About::Group(group), matter, &whole.loss)
        });
        self.groups
            .iter()
            .filter(|(_, own)| **own == group)
            .filter_map(|(&animal, _)| {
                let loss = self.herd.loss(id(animal))?;
                open(About::Animal(animal), Matter::Weight, &loss)
            })
            .chain(whole)
            .collect()
    }
}
