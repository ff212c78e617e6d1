//! The model of what an animal is expected to weigh.

use crate::expected::{Herd, Kind as Known, Weighing as Entered};
use crate::rule::{About, Answer, Answered, Fact, Kind, Matter, Open, Rule, Weighing};
use holt_audit::episode::Severity;
use holt_audit::terms::{Day, Instant, Mass};
use std::collections::BTreeMap;

#[derive(Clone, Debug)]
pub(crate) struct Model {
    pub(crate) herd: Herd,
    groups: BTreeMap<usize, usize>,
    least: f64,
}

fn weeks(at: Instant) -> f64 {
    at.timestamp_millis() as f64 / 604_800_000.0
}

fn week_of(day: Day) -> f64 {
    weeks(day.and_hms_opt(12, 0, 0).unwrap().and_utc())
}

impl Model {
    pub(crate) fn new(kind: Kind) -> Self {
        let herd = Herd::new(Known {
            seasonal: kind.seasonal,
            gestation: kind.gestation_days.map(|days| days as f64 / 7.0),
            breeds_from: Some(kind.breeds_from_days as f64 / 7.0),
        });
        Self { herd, groups: BTreeMap::new(), least: 0.025 }
    }
}

impl Rule for Model {
    fn fact(&mut self, fact: &Fact, on: Day) {
        match *fact {
            Fact::Joins { animal, group, born, sex, .. } => {
                self.groups.insert(animal, group);
                self.herd.joins(animal as u64, group as u64, sex, born.map(week_of));
            }
            Fact::Leaves { animal } => {
                self.groups.remove(&animal);
                self.herd.leaves(animal as u64);
            }
            Fact::Carries { animal } => self.herd.carries(animal as u64, week_of(on)),
            Fact::CarriesNoMore { animal } => self.herd.carries_no_more(animal as u64),
            Fact::Litter { dam, on } => self.herd.gives_birth(dam as u64, week_of(on)),
            Fact::Rests { animal, begins, .. } => self.herd.rests(animal as u64, begins),
            Fact::Feed { .. } => {}
        }
    }

    fn round(&mut self, round: &[Weighing]) -> Answered {
        let entered: Vec<(usize, Entered)> = round
            .iter()
            .enumerate()
            .filter_map(|(place, one)| {
                let mass = one.mass?;
                Some((
                    place,
                    Entered {
                        animal: one.animal as u64,
                        at: weeks(one.at),
                        log: mass.grams().ln(),
                        scale: one.scale,
                        step: one.step.grams() / mass.grams(),
                    },
                ))
            })
            .collect();
        let mut each = vec![Answer::Taken; round.len()];
        let Some(group) = round.first().and_then(|one| self.groups.get(&one.animal)) else {
            return Answered { each, exchanges: 0, scale_off: false };
        };
        let only: Vec<Entered> = entered.iter().map(|(_, one)| *one).collect();
        let judged = self.herd.round(*group as u64, &only);
        for ((place, _), judged) in entered.iter().zip(judged) {
            if judged.waits {
                let reach = (4.5 * judged.spread).max(0.085);
                each[*place] = Answer::SetAside {
                    low: Mass::from_grams((judged.expected - reach).exp()),
                    high: Mass::from_grams((judged.expected + reach).exp()),
                };
            }
        }
        Answered { each, exchanges: 0, scale_off: false }
    }

    fn open(&mut self, group: usize, _: Instant) -> Vec<Open> {
        let severity = |now: f64| {
            let percent = -100.0 * now.exp_m1();
            if percent >= 20.0 {
                Severity::Urgent
            } else if percent >= 10.0 {
                Severity::Act
            } else {
                Severity::Watch
            }
        };
        let mut opens = Vec::new();
        for (&animal, _) in self.groups.iter().filter(|(_, own)| **own == group) {
            let Some(loss) = self.herd.loss(animal as u64).filter(|loss| loss.now < -self.least) else { continue };
            opens.push(Open {
                about: About::Animal(animal),
                matter: Matter::Weight,
                severity: severity(loss.now),
                score: -loss.rate.ln() + 3.0,
            });
        }
        if let Some(loss) = self.herd.loss_of_group(group as u64).filter(|loss| loss.now < -0.02) {
            opens.push(Open {
                about: About::Group(group),
                matter: Matter::Weight,
                severity: severity(loss.now),
                score: -loss.rate.ln() + 3.0,
            });
        }
        opens
    }
}
