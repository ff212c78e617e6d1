//! What is on record of animals of one kind that their weights depend on.

use super::rows::json;
use crate::access::permit::Permit;
use crate::model::concern::ConcernKind;
use crate::model::life_state::{StateEnd, StateKind};
use crate::records::error::Result;
use crate::store::Snapshot;
use crate::store::concerns::{self, Settling, Whom};
use crate::store::expected::{self as store, Behind, Home, Stretch};
use crate::store::weights::Point;
use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use holt_audit::expected::{Fact, Kind, Life, Settled};
use holt_audit::terms::RecordId;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// Counts up with each change of the model that makes something else of the same readings: rows of another version are
/// worked out again.
const VERSION: u32 = 2;

/// Animals of one kind at a site, with what is on record of them.
pub(crate) struct Book {
    pub taxon: Uuid,
    /// Scientific name.
    pub species: String,
    pub kind: Kind,
    /// Those asked about.
    pub asked: Vec<Uuid>,
    /// These are all that ever shared a home with one of them.
    pub closed: bool,
    lives: HashMap<Uuid, Life>,
    /// By animal, in order of time.
    facts: HashMap<Uuid, Vec<(DateTime<Utc>, Fact)>>,
    homes: HashMap<Uuid, Vec<Home>>,
    /// When refusals of animals were settled, by animal.
    refusals: HashMap<Uuid, Vec<DateTime<Utc>>>,
    /// When losses of groups were settled and as what, by enclosure.
    settled: HashMap<Uuid, Vec<(DateTime<Utc>, Settled)>>,
}

/// What the state of an animal was worked out by, besides its readings: facts and homes up to the latest of these.
#[derive(Debug, Serialize)]
struct Basis {
    version: u32,
    taxon: Uuid,
    kind: Kind,
    life: Option<Life>,
    facts: Vec<(DateTime<Utc>, Fact)>,
    homes: Vec<(DateTime<Utc>, Uuid)>,
}

/// Readings of one group that were taken on one day and entered together, of each animal one at most.
#[derive(Clone, Debug)]
pub(crate) struct Round {
    pub group: Uuid,
    /// The earliest of them.
    pub at: DateTime<Utc>,
    pub points: Vec<Point>,
}

pub(crate) const fn id(of: Uuid) -> RecordId {
    RecordId(of.as_u128())
}

impl Book {
    /// Reads it for animals: one for each kind of theirs.
    pub(crate) async fn read(
        snapshot: &Snapshot,
        permit: &Permit,
        animals: &[Uuid],
        false_a_year: f64,
    ) -> Result<Vec<Self>> {
        let behind = store::behind(snapshot, permit, animals).await?;
        let everyone: Vec<Uuid> = behind.iter().map(|one| one.animal).collect();
        let homes = behind.iter().flat_map(|one| &one.homes);
        let enclosures: BTreeSet<Uuid> = homes.map(|home| home.enclosure_id).collect();
        let enclosures: Vec<Uuid> = enclosures.into_iter().collect();
        let kinds = [
            ConcernKind::WeightTrend,
            ConcernKind::Growth,
            ConcernKind::GroupWeight,
            ConcernKind::ScaleOff,
            ConcernKind::ScaleRefused,
        ];
        let settlings = concerns::settlings(snapshot, permit, &everyone, &enclosures, &kinds).await?;
        let asked: BTreeSet<Uuid> = animals.iter().copied().collect();
        let mut books: BTreeMap<Uuid, Vec<Behind>> = BTreeMap::new();
        for one in behind {
            books.entry(one.taxon).or_default().push(one);
        }
        let of_kind = |(taxon, behind)| Self::of(permit, taxon, behind, &settlings, &asked, false_a_year);
        Ok(books.into_iter().map(of_kind).collect())
    }

    fn of(
        permit: &Permit,
        taxon: Uuid,
        behind: Vec<Behind>,
        settlings: &[Settling],
        asked: &BTreeSet<Uuid>,
        false_a_year: f64,
    ) -> Self {
        let days = |days: Option<i32>| days.and_then(|days| u32::try_from(days).ok());
        let said = behind.first();
        let kind = Kind {
            seasonal: said.is_some_and(|said| said.seasonal),
            gestation_days: days(said.and_then(|said| said.gestation_days)),
            breeds_from_days: days(said.and_then(|said| said.breeds_from_days)).or(Some(USUAL_YOUNG)),
            false_a_year,
        };
        let mut book = Self {
            taxon,
            species: said.map(|said| said.species.clone()).unwrap_or_default(),
            kind,
            closed: behind.iter().all(|one| asked.contains(&one.animal)),
            asked: behind.iter().map(|one| one.animal).filter(|animal| asked.contains(animal)).collect(),
            lives: behind.iter().map(|one| (one.animal, life(one))).collect(),
            facts: HashMap::new(),
            homes: HashMap::new(),
            refusals: HashMap::new(),
            settled: HashMap::new(),
        };
        for Behind { animal, births, homes, states, .. } in behind {
            let births: Vec<_> = births.into_iter().map(|day| permit.site().start_of(day)).collect();
            let mut facts = through(&states, &births);
            facts.extend(births.into_iter().map(|at| (at, Fact::Birth)));
            book.facts.insert(animal, facts);
            book.homes.insert(animal, homes);
        }
        for settling in settlings {
            // The database wants it said of all that are asked; of refusals it says nothing.
            let how = match settling.kind {
                // Whoever settles it has put the scale right, or means to: whether it is shows the next rounds.
                ConcernKind::ScaleOff => Settled::Treated,
                _ => settling.settled_as.unwrap_or(Settled::FalseAlarm),
            };
            match settling.whom {
                Whom::Animal(animal) if settling.kind == ConcernKind::ScaleRefused => {
                    book.refusals.entry(animal).or_default().push(settling.at);
                }
                Whom::Animal(animal) => {
                    book.facts.entry(animal).or_default().push((settling.at, Fact::Settled { how }));
                }
                Whom::Household { enclosure, taxon: of } if of == taxon => {
                    book.settled.entry(enclosure).or_default().push((settling.at, how));
                }
                Whom::Household { .. } | Whom::Device { .. } => {}
            }
        }
        for facts in book.facts.values_mut() {
            facts.sort_by_key(|(at, _)| *at);
        }
        book
    }

    /// As if nobody had settled anything.
    pub(crate) fn forgets_settlings(&mut self) {
        self.settled.clear();
        self.refusals.clear();
        for facts in self.facts.values_mut() {
            facts.retain(|(_, fact)| !matches!(fact, Fact::Settled { .. }));
        }
    }

    /// The group that an animal lived in at an instant: its enclosure, or itself where it lived nowhere.
    pub(crate) fn home(&self, animal: Uuid, at: DateTime<Utc>) -> Uuid {
        let homes = self.homes.get(&animal).into_iter().flatten();
        homes.filter(|home| home.covers(at)).map(|home| home.enclosure_id).next_back().unwrap_or(animal)
    }

    /// The name of an enclosure.
    pub(crate) fn enclosure(&self, id: Uuid) -> Option<&str> {
        let mut homes = self.homes.values().flatten();
        homes.find(|home| home.enclosure_id == id).map(|home| home.enclosure.as_str())
    }

    /// Those that lived in a group at an instant.
    pub(crate) fn members(&self, group: Uuid, at: DateTime<Utc>) -> BTreeMap<RecordId, Life> {
        let here = self.lives.iter().filter(|(animal, _)| self.home(**animal, at) == group);
        here.map(|(animal, life)| (id(*animal), *life)).collect()
    }

    /// All that it speaks of: whoever ever shared a home with them, and their groups.
    pub(crate) fn everyone(&self) -> Vec<Uuid> {
        let all: BTreeSet<Uuid> = self.lives.keys().copied().collect();
        all.into_iter().collect()
    }

    /// All groups that there ever were.
    pub(crate) fn groups(&self) -> Vec<Uuid> {
        let enclosures = self.homes.values().flatten().map(|home| home.enclosure_id);
        let all: BTreeSet<Uuid> = enclosures.chain(self.lives.keys().copied()).collect();
        all.into_iter().collect()
    }

    pub(crate) fn life(&self, animal: Uuid) -> Option<Life> {
        self.lives.get(&animal).copied()
    }

    /// Facts of an animal after one instant, up to another.
    pub(crate) fn facts(
        &self,
        animal: Uuid,
        after: Option<DateTime<Utc>>,
        until: DateTime<Utc>,
    ) -> impl Iterator<Item = &(DateTime<Utc>, Fact)> {
        let all = self.facts.get(&animal).into_iter().flatten();
        all.filter(move |(at, _)| after.is_none_or(|after| after < *at) && *at <= until)
    }

    /// When losses of a group were settled after one instant, up to another, and as what.
    pub(crate) fn settled(
        &self,
        group: Uuid,
        after: Option<DateTime<Utc>>,
        until: DateTime<Utc>,
    ) -> impl Iterator<Item = (DateTime<Utc>, Settled)> {
        let all = self.settled.get(&group).into_iter().flatten().copied();
        all.filter(move |(at, _)| after.is_none_or(|after| after < *at) && *at <= until)
    }

    /// Refusals of an animal were settled after one instant, up to another.
    pub(crate) fn knows_refusals(
        &self,
        animal: Uuid,
        after: Option<DateTime<Utc>>,
        until: DateTime<Utc>,
    ) -> bool {
        let all = self.refusals.get(&animal).into_iter().flatten();
        all.into_iter().any(|at| after.is_none_or(|after| after < *at) && *at <= until)
    }

    /// What the state of an animal rests on, up to its latest reading: as it is kept beside the state.
    pub(crate) fn basis(&self, animal: Uuid, until: DateTime<Utc>) -> Result<String> {
        json(&self.rests_on(animal, until))
    }

    /// The same of what a group did together, up to its latest round: on all that lived in it by then, for as long as
    /// they did. A digest, as these are many.
    pub(crate) fn basis_of_group(&self, group: Uuid, until: DateTime<Utc>) -> Result<String> {
        let stays = |animal: &Uuid| {
            let homes = self.homes.get(animal).into_iter().flatten();
            let here = homes.filter(|home| home.enclosure_id == group && home.began_at <= until);
            here.map(|home| home.ended_at.map_or(until, |ended| ended.min(until))).max()
        };
        let mut lived: Vec<(Uuid, DateTime<Utc>)> =
            self.lives.keys().filter_map(|animal| Some((*animal, stays(animal)?))).collect();
        lived.sort_unstable();
        let mut digest = Sha256::new();
        for (animal, until) in lived {
            let basis = json(&(animal, until, self.rests_on(animal, until)))?;
            digest.update(basis);
        }
        Ok(format!("{:x}", digest.finalize()))
    }

    fn rests_on(&self, animal: Uuid, until: DateTime<Utc>) -> Basis {
        let homes = self.homes.get(&animal).into_iter().flatten();
        let homes = homes.filter(|home| home.began_at <= until);
        Basis {
            version: VERSION,
            taxon: self.taxon,
            kind: self.kind,
            life: self.life(animal),
            facts: self.facts(animal, None, until).copied().collect(),
            homes: homes.map(|home| (home.began_at, home.enclosure_id)).collect(),
        }
    }

    /// Readings as rounds, in order of time. Judgements by eye are none.
    pub(crate) fn rounds(&self, points: impl IntoIterator<Item = Point>) -> Vec<Round> {
        let mut rounds: BTreeMap<_, Vec<Point>> = BTreeMap::new();
        let mut times: HashMap<_, u32> = HashMap::new();
        let mut points: Vec<Point> = points.into_iter().filter(|point| !point.estimate).collect();
        points.sort_by_key(|point| (point.weighed_at, point.recorded_at, point.id));
        for point in points {
            let group = self.home(point.animal, point.weighed_at);
            let day = point.weighed_at.date_naive();
            let time = times.entry((point.animal, day, point.request)).or_default();
            *time += 1;
            rounds.entry((day, point.request, group, *time)).or_default().push(point);
        }
        let mut rounds: Vec<(_, Round)> = rounds
            .into_iter()
            .filter_map(|((day, request, group, time), points)| {
                let (at, recorded) = points.first().map(|first| (first.weighed_at, first.recorded_at))?;
                let order = (at, recorded, day, request, group, time);
                Some((order, Round { group, at, points }))
            })
            .collect();
        rounds.sort_by_key(|(order, _)| *order);
        rounds.into_iter().map(|(_, round)| round).collect()
    }
}

/// Days after a birth within which that she carries no longer says no more than the birth does.
const OF_A_BIRTH: TimeDelta = TimeDelta::days(3);

/// What an animal goes through, as the model hears of it. A birth is told by itself; what ends because it left says nothing
/// of what it carries; moult, rut, torpor and rest are one.
fn through(states: &[Stretch], births: &[DateTime<Utc>]) -> Vec<(DateTime<Utc>, Fact)> {
    let mut facts = Vec::new();
    let mut rests: Vec<(DateTime<Utc>, Option<DateTime<Utc>>)> = Vec::new();
    for state in states {
        let (began, ended) = (state.began_at, state.ended_at);
        if state.state != StateKind::Carrying {
            match rests.last_mut() {
                Some((_, until)) if until.is_none_or(|until| began <= until) => {
                    *until = until.zip(ended).map(|(one, other)| one.max(other));
                }
                _ => rests.push((began, ended)),
            }
            continue;
        }
        facts.push((began, Fact::Carries));
        let bears = |ended| {
            births.iter().any(|birth| began <= *birth && *birth <= ended && ended - birth <= OF_A_BIRTH)
        };
        let over = ended.filter(|ended| state.ended_how == Some(StateEnd::Over) && !bears(*ended));
        facts.extend(over.map(|ended| (ended, Fact::CarriesNoMore)));
    }
    for (began, ended) in rests {
        facts.push((began, Fact::RestBegins));
        facts.extend(ended.map(|ended| (ended, Fact::RestEnds)));
    }
    facts
}

/// Age in days below which an animal is young where its species does not say when it breeds: a year, common
/// practice, no source.
const USUAL_YOUNG: u32 = 365;

fn life(behind: &Behind) -> Life {
    // A day of birth begins at an instant that no zone moves.
    let born = behind.born_on.map(|day| day.and_time(NaiveTime::MIN).and_utc());
    Life { sex: behind.sex, born }
}
