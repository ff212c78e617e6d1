//! Groups of one kind at one site, moved on together: what the service and a replay ask.

use super::answer::{Expected, Fact, Judgement, Kind, Life, Loss, Weighing};
use super::cause::Cause;
use super::group::{Group, Member, Together, weeks};
use super::known::{Known, Lessons};
use super::round::{Advanced, Step, advance};
use super::together::Whole;
use crate::terms::{Instant, RecordId};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// By how much more than its scale is off an animal must have lost, in %, to be told of beside it: what counts as a loss at
/// all.
const BESIDE_A_SCALE: f64 = 2.5;

/// What is known of a kind in a week, with animals and groups.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Herd {
    /// Of the kind, as the week began.
    pub known: Known,
    /// The week, since 1970; they begin on Mondays.
    pub week: i64,
    /// What its rounds taught, which is learnt when it is over: by group, in order of time.
    pub lessons: BTreeMap<RecordId, Vec<Lessons>>,
    /// Animals.
    pub members: BTreeMap<RecordId, Member>,
    /// In which group each lives.
    pub homes: BTreeMap<RecordId, RecordId>,
    /// What each group does together.
    pub groups: BTreeMap<RecordId, Together>,
}

/// What a round comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// One answer for each reading, in the order given; none for one of an animal that does not live in the group.
    pub judgements: Vec<Option<Judgement>>,
    /// All of it is off by much the same factor.
    pub step: Option<Step>,
}

impl Herd {
    /// Without animals yet.
    #[must_use]
    pub fn new(kind: Kind) -> Self {
        Self::known(Known::new(kind), i64::MIN)
    }

    /// Without animals yet, in a week of which something is known.
    #[must_use]
    pub const fn known(known: Known, week: i64) -> Self {
        Self {
            known,
            week,
            lessons: BTreeMap::new(),
            members: BTreeMap::new(),
            homes: BTreeMap::new(),
            groups: BTreeMap::new(),
        }
    }

    /// Such animals live in a group from now on, and no others.
    pub fn lives(&mut self, group: RecordId, lives: &BTreeMap<RecordId, Life>) {
        self.homes.retain(|animal, home| *home != group || lives.contains_key(animal));
        for (animal, life) in lives {
            self.homes.insert(*animal, group);
            self.members.entry(*animal).or_insert_with(|| Member::new(*life));
        }
    }

    /// Something was recorded of an animal of a group.
    pub fn notes(&mut self, group: RecordId, animal: RecordId, at: Instant, fact: &Fact) {
        match fact {
            Fact::Joins { .. } => {
                self.homes.insert(animal, group);
            }
            Fact::Leaves => {
                self.homes.remove(&animal);
                self.members.remove(&animal);
                return;
            }
            _ => {}
        }
        let own = self.members.remove(&animal).map(|member| (animal, member));
        let mut alone = Group::of(own.into_iter().collect(), Together::default());
        alone.notes(animal, at, fact);
        self.members.extend(alone.parts().0);
    }

    /// A week begins: what the rounds before it taught is learnt.
    pub fn turns(&mut self, week: i64) {
        for lessons in std::mem::take(&mut self.lessons).values().flatten() {
            self.known.learns(lessons);
        }
        self.week = week;
    }

    /// Takes in a round of a group. One of an earlier week than another is judged by what is known by now.
    pub fn round(&mut self, group: RecordId, round: &[Weighing]) -> Told {
        if let Some(week) = round.iter().map(|one| week(one.at)).min().filter(|week| *week > self.week) {
            self.turns(week);
        }
        let Advanced { group: advanced, judgements, lessons, step } =
            advance(self.group(group), round, &self.known);
        let (members, together) = advanced.parts();
        self.members.extend(members);
        self.groups.insert(group, together);
        self.lessons.entry(group).or_default().push(lessons);
        Told { judgements, step }
    }

    /// A group with its animals.
    #[must_use]
    pub fn group(&self, group: RecordId) -> Group {
        let here = self.homes.iter().filter(|(_, home)| **home == group);
        let members = here.filter_map(|(animal, _)| Some((*animal, self.members.get(animal)?.clone())));
        Group::of(members.collect(), self.groups.get(&group).cloned().unwrap_or_default())
    }

    /// What an animal is expected to weigh at a moment after its latest reading, on the usual scale.
    #[must_use]
    pub fn expects(&self, animal: RecordId, at: Instant) -> Option<Expected> {
        self.group(*self.homes.get(&animal)?).expects(animal, at, &self.known)
    }

    /// The likeliest loss of an animal.
    #[must_use]
    pub fn loss(&self, animal: RecordId) -> Option<Loss> {
        self.members.get(&animal)?.loss(&self.known)
    }

    /// The loss of an animal that people hear of: nothing of what the scale of its group is off by.
    #[must_use]
    pub fn told(&self, animal: RecordId) -> Option<Loss> {
        let loss = self.loss(animal).filter(|loss| loss.told)?;
        let whole = self.homes.get(&animal).and_then(|home| self.whole(*home));
        let off = whole.filter(|whole| whole.loss.told && whole.cause == Cause::Scale);
        off.is_none_or(|whole| loss.percent >= whole.loss.percent + BESIDE_A_SCALE).then_some(loss)
    }

    /// The likeliest loss of a group as one.
    #[must_use]
    pub fn whole(&self, group: RecordId) -> Option<Whole> {
        self.groups.get(&group)?.whole(&self.known)
    }
}

/// The week of an instant, since 1970, from Monday to Sunday.
#[must_use]
pub fn week(at: Instant) -> i64 {
    // 1970 began on a Thursday.
    #[expect(clippy::cast_possible_truncation, reason = "weeks of a few hundred years")]
    let week = (weeks(at) + 3.0 / 7.0).floor() as i64;
    week
}
