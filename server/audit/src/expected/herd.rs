//! All groups of one kind at one site: what a replay follows.

use super::answer::{Fact, Judgement, Kind, Loss, Weighing};
use super::group::Group;
use super::known::Known;
use super::round::advance;
use super::together::Whole;
use crate::terms::{Instant, RecordId};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What is known of a kind, and each of its groups.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Herd {
    /// Of the kind.
    pub known: Known,
    /// Its groups.
    pub groups: BTreeMap<RecordId, Group>,
}

impl Herd {
    /// Without animals yet.
    #[must_use]
    pub fn new(kind: Kind) -> Self {
        Self { known: Known::new(kind), groups: BTreeMap::new() }
    }

    /// Something was recorded of an animal of a group. Who joins brings along what is known of it elsewhere here.
    pub fn notes(&mut self, group: RecordId, animal: RecordId, at: Instant, fact: &Fact) {
        let brought = if matches!(fact, Fact::Joins { .. }) {
            let others = self.groups.iter_mut().filter(|(other, _)| **other != group);
            others.filter_map(|(_, other)| other.gives(animal)).next()
        } else {
            None
        };
        let group = self.groups.entry(group).or_default();
        if let Some(brought) = brought {
            group.receives(animal, brought);
        }
        group.notes(animal, at, fact);
    }

    /// Takes in a round of a group.
    pub fn round(&mut self, group: RecordId, round: &[Weighing]) -> Vec<Option<Judgement>> {
        let state = self.groups.entry(group).or_default();
        let advanced = advance(std::mem::take(state), round, &self.known);
        *state = advanced.group;
        self.known.learns(&advanced.lessons);
        advanced.judgements
    }

    /// The likeliest loss of an animal.
    #[must_use]
    pub fn loss(&self, group: RecordId, animal: RecordId) -> Option<Loss> {
        self.groups.get(&group)?.loss(animal, &self.known)
    }

    /// The likeliest loss of a group as one.
    #[must_use]
    pub fn whole(&self, group: RecordId) -> Option<Whole> {
        self.groups.get(&group)?.whole(&self.known)
    }
}
