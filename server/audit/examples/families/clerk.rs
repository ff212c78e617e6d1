//! What is on record of animals, with each reading judged as it was entered: the rules of practice get the same care at
//! entry as the model, by the model itself.

use crate::model::Model;
use crate::rule::{Answer, Answered, Fact, Kind, Rule as _, Weighing};
use chrono::Days;
use holt_audit::terms::{Day, Instant, Mass, Span};

/// A reading as it stands on record.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reading {
    pub(crate) at: Instant,
    pub(crate) mass: Option<Mass>,
    pub(crate) doubtful: bool,
}

/// What is on record of an animal.
#[derive(Clone, Debug, Default)]
pub(crate) struct Held {
    pub(crate) group: usize,
    pub(crate) there: bool,
    pub(crate) readings: Vec<Reading>,
    /// When she carried, by the births on record.
    pub(crate) pregnant: Vec<Span>,
}

/// All of them.
#[derive(Clone, Debug)]
pub(crate) struct Clerk {
    kind: Kind,
    model: Model,
    pub(crate) held: Vec<Held>,
}

impl Clerk {
    pub(crate) fn new(kind: Kind, false_a_year: f64) -> Self {
        Self { kind, model: Model::new(kind, false_a_year), held: Vec::new() }
    }

    pub(crate) fn fact(&mut self, fact: &Fact, on: Day) {
        self.model.fact(fact, on);
        match *fact {
            Fact::Joins { animal, group, .. } => {
                self.held.resize_with(self.held.len().max(animal + 1), Held::default);
                self.held[animal] = Held { group, there: true, ..Held::default() };
            }
            Fact::Leaves { animal } => self.held[animal].there = false,
            Fact::Litter { dam, on } => {
                if let Some(days) = self.kind.gestation_days.and_then(|days| u64::try_from(days).ok()) {
                    self.held[dam].pregnant.push(Span { from: on - Days::new(days), until: Some(on) });
                }
            }
            _ => {}
        }
    }

    pub(crate) fn round(&mut self, round: &[Weighing]) -> Answered {
        let answered = self.model.round(round);
        for (weighing, answer) in round.iter().zip(&answered.each) {
            let doubtful = *answer != Answer::Taken;
            let reading = Reading { at: weighing.at, mass: weighing.mass, doubtful };
            self.held[weighing.animal].readings.push(reading);
        }
        answered
    }
}
