//! What the model says of animals of one kind at an instant, as everything asks it.

use super::book::{Book, id};
use super::run::{Done, Own};
use crate::store::expected::Kept;
use chrono::{DateTime, Utc};
use holt_audit::attempts::Refusal;
use holt_audit::expected::{self, Beside, Expected, Herd, Judgement, Loss, Member, Whole};
use holt_audit::terms::Mass;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// Animals of one kind, as the model sees them at an instant.
pub(crate) struct Seen {
    pub book: Book,
    pub came: Came,
}

/// What a run came to, apart from its book.
pub(crate) struct Came {
    pub(super) herd: Herd,
    pub(super) own: BTreeMap<Uuid, Own>,
    pub judged: HashMap<Uuid, Judgement>,
    pub done: Vec<Done>,
    /// Groups that were moved on.
    pub(super) groups: Vec<Uuid>,
    /// Rows to keep, and whether each is the first of its kind there.
    pub(super) changed: Vec<(Kept, bool)>,
    pub(super) begun: Vec<(i64, String)>,
}

impl Seen {
    /// What an animal is expected to weigh at an instant.
    pub(crate) fn expects(&self, animal: Uuid, at: DateTime<Utc>) -> Option<Expected> {
        self.came.herd.expects(id(animal), at)
    }

    /// What it loses, told or not.
    pub(crate) fn loss(&self, animal: Uuid) -> Option<Loss> {
        self.came.herd.loss(id(animal))
    }

    /// What people hear of that it loses: nothing of what the scale of its group is off by.
    pub(crate) fn told(&self, animal: Uuid) -> Option<Loss> {
        self.came.herd.told(id(animal))
    }

    /// By how much it lies off what was to be expected by now, in %: the figure of a concern, and nothing where no loss
    /// is likelier than none.
    pub(crate) fn change_percent(&self, animal: Uuid) -> f64 {
        self.loss(animal).map_or(0.0, |loss| -loss.percent)
    }

    /// What a group loses as one, told or not.
    pub(crate) fn whole(&self, group: Uuid) -> Option<Whole> {
        self.came.herd.whole(id(group))
    }

    /// How fast an animal gains or loses of late, ln mass a week.
    pub(crate) fn pace(&self, animal: Uuid) -> Option<f64> {
        self.came.herd.members.get(&id(animal))?.pace()
    }

    /// How it gains or loses beside those that it lives with at an instant.
    pub(crate) fn beside(&self, animal: Uuid, at: DateTime<Utc>) -> Option<Beside> {
        let members = self.book.members(self.book.home(animal, at), at);
        let others = members.keys().filter(|member| **member != id(animal));
        let others = others.filter_map(|member| self.came.herd.members.get(member)?.pace());
        expected::beside(self.pace(animal)?, &others.collect::<Vec<_>>())
    }

    /// Its latest reading that counts.
    pub(crate) fn latest(&self, animal: Uuid) -> Option<(Uuid, DateTime<Utc>, Mass)> {
        self.came.own.get(&animal)?.latest
    }

    /// Its latest readings that count.
    pub(crate) fn late(&self, animal: Uuid) -> &[Uuid] {
        self.came.own.get(&animal).map_or(&[], |own| &own.late)
    }

    /// Its readings that wait for another by now, with their instants, in order.
    pub(crate) fn waiting(&self, animal: Uuid) -> &[(Uuid, DateTime<Utc>)] {
        let waits = self.came.herd.members.get(&id(animal)).is_some_and(Member::waits);
        let own = self.came.own.get(&animal).filter(|_| waits);
        own.map_or(&[], |own| &own.aside)
    }

    /// The enclosures of groups that were moved on, with their names.
    pub(crate) fn enclosures(&self) -> impl Iterator<Item = (Uuid, &str)> {
        self.came.groups.iter().filter_map(|group| Some((*group, self.book.enclosure(*group)?)))
    }

    /// The latest reading that counts of each that lives in a group at an instant.
    pub(crate) fn latest_of(&self, group: Uuid, at: DateTime<Utc>) -> Vec<Uuid> {
        let members = self.book.members(group, at).into_keys();
        members.filter_map(|member| Some(self.latest(Uuid::from_u128(member.0))?.0)).collect()
    }

    /// A row of refusals that is not its habit.
    pub(crate) fn refusal(&self, animal: Uuid) -> Option<Refusal> {
        self.came.own.get(&animal)?.attempts.refusal()
    }
}
