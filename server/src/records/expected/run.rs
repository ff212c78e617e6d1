//! Rounds, given to the model in order of time: the one way in which states are moved on and worked out again.

use super::book::{Book, Round, id};
use crate::store::weights::Point;
use chrono::{DateTime, Utc};
use holt_audit::attempts::Attempts;
use holt_audit::expected::{Entry, Herd, Judgement, Known, Member, Step, Together, Weighing, week};
use holt_audit::terms::{Mass, RecordId};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// What is kept of an animal beside what the model keeps.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Own {
    pub attempts: Attempts,
    /// Readings that are set aside by now, with their instants: the latest, one after the other.
    pub aside: Vec<(Uuid, DateTime<Utc>)>,
    /// The latest that counts, with its instant and mass.
    pub latest: Option<(Uuid, DateTime<Utc>, Mass)>,
    /// The latest three that count, oldest first: what a concern rests on.
    pub late: Vec<Uuid>,
    #[serde(skip)]
    pub until: Option<DateTime<Utc>>,
    #[serde(skip)]
    pub confirmed: Vec<Uuid>,
}

/// What came of a round.
#[derive(Clone, Debug)]
pub(crate) struct Done {
    pub step: Option<Step>,
    /// The scale of that, as it was noted.
    pub scale: String,
    pub points: Vec<Uuid>,
}

/// A state of animals and groups of one kind, moved on.
pub(crate) struct Run<'b> {
    pub book: &'b Book,
    pub herd: Herd,
    pub own: BTreeMap<Uuid, Own>,
    /// Up to when groups were moved on.
    pub groups: HashMap<Uuid, DateTime<Utc>>,
    /// What was known of the kind, by the week that began with it.
    pub weeks: BTreeMap<i64, Known>,
    /// Weeks that began in this run.
    pub begun: Vec<i64>,
    /// The last week that had begun before: what it began with is learnt, and is not changed any more.
    learnt_until: i64,
    /// What became of each reading.
    pub judged: HashMap<Uuid, Judgement>,
    pub done: Vec<Done>,
}

impl<'b> Run<'b> {
    /// From nothing, but for what was known of the kind.
    pub(crate) fn new(book: &'b Book, weeks: BTreeMap<i64, Known>) -> Self {
        let last = weeks.keys().next_back().copied().unwrap_or(i64::MIN);
        let mut run = Self {
            book,
            herd: Herd::known(Known::new(book.kind), i64::MIN),
            own: BTreeMap::new(),
            groups: HashMap::new(),
            weeks,
            begun: Vec::new(),
            learnt_until: last,
            judged: HashMap::new(),
            done: Vec::new(),
        };
        run.known(last);
        run
    }

    /// Begins with what is kept of an animal.
    pub(crate) fn begin(&mut self, animal: Uuid, member: Member, own: Own) {
        self.herd.members.insert(id(animal), member);
        self.own.insert(animal, own);
    }

    /// Begins with what is kept of a group.
    pub(crate) fn begin_group(&mut self, group: Uuid, together: Together, until: DateTime<Utc>) {
        self.herd.groups.insert(id(group), together);
        self.groups.insert(group, until);
    }

    /// What is known of the kind in a week; a new one begins with what was taught until then.
    fn known(&mut self, week: i64) {
        if week == self.herd.week {
            return;
        }
        let last = self.weeks.keys().next_back().copied();
        if last.is_none_or(|last| last < week) {
            if let Some(known) = last.and_then(|last| self.weeks.get(&last)) {
                self.herd.known = known.clone();
            }
            self.herd.turns(week);
            self.begun.push(week);
            self.weeks.insert(week, self.herd.known.clone());
        } else {
            let then = self.weeks.range(..=week).next_back().map(|(_, known)| known.clone());
            self.herd.known = then.unwrap_or_else(|| Known::new(self.book.kind));
            self.herd.week = week;
        }
        self.herd.known.kind = self.book.kind;
    }

    /// What is known of the kind at an instant, without beginning a week.
    pub(crate) fn as_known(&mut self, at: DateTime<Utc>) {
        if let Some(last) = self.weeks.range(..=week(at)).next_back().map(|(last, _)| *last) {
            self.known(last);
        }
    }

    /// Brings animals and their groups up to an instant, by what is known of the kind then.
    pub(crate) fn reaches(&mut self, animals: &[Uuid], until: DateTime<Utc>) {
        self.as_known(until);
        for animal in animals {
            self.notes(*animal, until);
        }
        let groups: BTreeSet<Uuid> = animals.iter().map(|animal| self.book.home(*animal, until)).collect();
        for group in groups {
            self.herd.lives(id(group), &self.book.members(group, until));
            self.settles(group, until);
        }
    }

    /// A loss of a group that was settled since its latest round no longer counts.
    fn settles(&mut self, group: Uuid, until: DateTime<Utc>) {
        let after = self.groups.get(&group).copied();
        for (at, how) in self.book.settled(group, after, until) {
            if let Some(together) = self.herd.groups.get_mut(&id(group)) {
                together.settles(at, how);
            }
        }
    }

    /// What was recorded of an animal after its latest reading, up to an instant, and where it lives then.
    pub(crate) fn notes(&mut self, animal: Uuid, until: DateTime<Utc>) {
        let after = self.own.get(&animal).and_then(|own| own.until);
        let group = id(self.book.home(animal, until));
        for (at, fact) in self.book.facts(animal, after, until) {
            self.herd.notes(group, id(animal), *at, fact);
        }
    }

    /// Takes in a round.
    pub(crate) fn takes(&mut self, round: &Round) {
        let group = round.group;
        self.known(week(round.at));
        let mut here = self.book.members(group, round.at);
        // Some may have come while it went on.
        here.extend(
            round.points.iter().filter_map(|one| Some((id(one.animal), self.book.life(one.animal)?))),
        );
        self.herd.lives(id(group), &here);
        self.settles(group, round.at);
        for point in &round.points {
            self.notes(point.animal, point.weighed_at);
        }
        let weighed: Vec<(&Point, Weighing)> =
            round.points.iter().filter_map(|point| Some((point, weighing(point)?))).collect();
        let only: Vec<Weighing> = weighed.iter().map(|(_, one)| *one).collect();
        if !only.is_empty() {
            let told = self.herd.round(id(group), &only);
            if week(round.at) < self.learnt_until {
                self.herd.lessons.entry(id(group)).or_default().pop();
            }
            for ((point, _), judged) in weighed.iter().zip(told.judgements) {
                let Some(judged) = judged else { continue };
                self.own.entry(point.animal).or_default().judged(point, judged.entry);
                self.judged.insert(point.id, judged);
            }
            let of_step = |one: &&(&Point, Weighing)| told.step.is_some_and(|step| step.scale == one.1.scale);
            self.done.push(Done {
                step: told.step,
                scale: weighed.iter().find(of_step).map(|(point, _)| point.scale.clone()).unwrap_or_default(),
                points: weighed.iter().map(|(point, _)| point.id).collect(),
            });
        }
        for point in &round.points {
            let own = self.own.entry(point.animal).or_default();
            if self.book.knows_refusals(point.animal, own.until, point.weighed_at) {
                own.attempts.settles();
            }
            own.attempts.takes(point.weighed_at, id(point.id), point.mass.is_some());
            own.until = own.until.max(Some(point.weighed_at));
        }
        self.groups.insert(group, round.at);
    }
}

/// Readings that a concern names, at most.
const LATE: usize = 3;

impl Own {
    fn judged(&mut self, point: &Point, entry: Entry) {
        if entry == Entry::Waits {
            self.aside.push((point.id, point.weighed_at));
            return;
        }
        // It was set aside as it was entered; what came late or was corrected since speaks for it.
        self.confirmed.extend(Some(point.id).filter(|_| point.doubtful));
        if entry == Entry::Confirms {
            let before = self.aside.last().map(|(id, _)| *id);
            self.confirmed.extend(before);
            self.late.extend(before);
        }
        self.aside.clear();
        self.latest = point.mass.map(|mass| (point.id, point.weighed_at, mass)).or(self.latest);
        self.late.push(point.id);
        self.late.drain(..self.late.len().saturating_sub(LATE));
    }
}

/// A reading as the model takes it; none of one without a mass.
fn weighing(point: &Point) -> Option<Weighing> {
    let scale = (!point.scale.is_empty()).then(|| scale(point.site, &point.scale));
    Some(Weighing {
        animal: id(point.animal),
        at: point.weighed_at,
        mass: point.mass?,
        scale,
        step: None,
        accepted: point.accepted,
    })
}

/// A scale by site and name, whatever its capitals: the same name at another site is another scale (FNV-1a, 128 bit).
fn scale(site: Uuid, name: &str) -> RecordId {
    let bytes = site.as_bytes().iter().copied().chain(name.to_lowercase().into_bytes());
    let hash = bytes.fold(0x6c62_272e_07bb_0142_62b8_2175_6295_c58d_u128, |hash, byte| {
        (hash ^ u128::from(byte)).wrapping_mul(0x0000_0000_0100_0000_0000_0000_0000_013b)
    });
    RecordId(hash)
}
