//! A group with its animals: what is kept of them, and what is asked of it between rounds.

use super::animal::{Animal, Around};
use super::answer::{Expected, Fact, Life, Loss, Settled, Standing, percent, severity};
use super::known::Known;
use super::onsets::Change;
use super::rate::Whose;
use super::slips::Fits;
use super::stage::{self, Stage};
use super::together::{FEWEST, Like, Shared, Whole};
use crate::episode::Severity;
use crate::stats::median_mad;
use crate::terms::{Instant, Mass, RecordId, Sex};
use chrono::DateTime;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One animal with all that is kept of it. One row; see the module.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Member {
    pub(super) life: Life,
    /// What its readings showed, if there are any.
    pub(super) animal: Option<Animal>,
}

/// All that is kept of what a group does together. One row; see the module.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Together(BTreeMap<Like, Shared>);

/// A group with its animals.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Group {
    pub(super) members: BTreeMap<RecordId, Member>,
    pub(super) shared: BTreeMap<Like, Shared>,
}

/// Smallest loss of an animal that matters, in ln mass.
pub(super) const LEAST: f64 = 0.025;

impl Together {
    /// A person settled what they lost together.
    pub fn settles(&mut self, at: Instant, how: Settled) {
        for shared in self.0.values_mut() {
            shared.settles(weeks(at), how);
        }
    }

    /// The likeliest loss of all of them, and what explains it.
    #[must_use]
    pub fn whole(&self, known: &Known) -> Option<Whole> {
        self.0.get(&Like::Grown)?.whole(known)
    }
}

impl Member {
    /// One of which nothing was weighed yet.
    #[must_use]
    pub const fn new(life: Life) -> Self {
        Self { life, animal: None }
    }

    /// The likeliest loss, told or not.
    #[must_use]
    pub fn loss(&self, known: &Known) -> Option<Loss> {
        loss(self.animal.as_ref()?, known)
    }

    /// A reading of it waits for another: it is due at the next chance.
    #[must_use]
    pub fn waits(&self) -> bool {
        self.animal.as_ref().is_some_and(|animal| animal.waiting.is_some())
    }

    /// By how much it gained or lost a week of late, freed of season and of what its like share, in ln mass: the
    /// median of the slopes through pairs of its latest readings. None with fewer than four of the last ten weeks,
    /// and of one that carries.
    #[must_use]
    pub fn pace(&self) -> Option<f64> {
        self.animal.as_ref()?.pace()
    }
}

impl Group {
    /// Something was recorded of an animal.
    pub fn notes(&mut self, id: RecordId, at: Instant, fact: &Fact) {
        let week = weeks(at);
        match *fact {
            Fact::Joins { life } => {
                let member = self.members.entry(id).or_insert(Member::new(life));
                member.life = life;
                if let Some(animal) = &mut member.animal {
                    animal.life = known_life(life);
                }
            }
            Fact::Leaves => {
                self.members.remove(&id);
            }
            _ => {
                let Some(animal) = self.members.get_mut(&id).and_then(|one| one.animal.as_mut()) else {
                    return;
                };
                match *fact {
                    Fact::Carries => animal.carries(week, None),
                    Fact::CarriesNoMore => animal.carries_no_more(),
                    Fact::Birth => animal.bears(week),
                    Fact::RestBegins => animal.rests(true),
                    Fact::RestEnds => animal.rests(false),
                    Fact::Settled { how } => animal.settles(week, how),
                    Fact::Joins { .. } | Fact::Leaves => {}
                }
            }
        }
    }

    /// A group of such animals.
    #[must_use]
    pub fn of(members: BTreeMap<RecordId, Member>, together: Together) -> Self {
        Self { members, shared: together.0 }
    }

    /// What is to be kept of it: of each animal, and of what they do together.
    #[must_use]
    pub fn parts(self) -> (BTreeMap<RecordId, Member>, Together) {
        (self.members, Together(self.shared))
    }

    /// What is known of a kind when one of its animals is judged.
    pub(super) fn around(&self, known: &Known, sex: Sex, but: RecordId) -> Around {
        let days = |days: Option<u32>| days.map(|days| f64::from(days) / 7.0);
        Around {
            noise: known.learnt().noise(),
            grown: self.grown(known, sex, but),
            breeds_from: days(known.kind.breeds_from_days),
            gestation: days(known.kind.gestation_days),
            seasonal: known.kind.seasonal,
            curve: known.curve,
        }
    }

    /// ln grams of the grown: of its sex in this group, or at the site, or of any sex here.
    fn grown(&self, known: &Known, sex: Sex, but: RecordId) -> Option<f64> {
        let of = |same: bool| -> Vec<f64> {
            self.members
                .iter()
                .filter(|(id, one)| **id != but && (!same || one.life.sex == sex))
                .filter_map(|(_, one)| one.animal.as_ref())
                .filter(|one| one.stage != Stage::Growing)
                .map(Animal::level)
                .collect()
        };
        let mut own = of(true);
        if own.len() >= 2 {
            return median_mad::median(&mut own);
        }
        known.grown(sex).or_else(|| median_mad::median(&mut of(false)))
    }

    /// What an animal is expected to weigh at a moment after its latest reading, on the usual scale.
    #[must_use]
    pub fn expects(&self, id: RecordId, at: Instant, known: &Known) -> Option<Expected> {
        let member = self.members.get(&id)?;
        let mut animal = member.animal.clone()?;
        let around = self.around(known, member.life.sex, id);
        animal.reaches(weeks(at), &around, self.apart(weeks(at)));
        let (log, variance) = animal.foresees(&around);
        let grows = animal.stage == Stage::Growing;
        let like = if grows { Like::Growing } else { Like::Grown };
        let all = self.members.values().filter_map(|one| one.animal.as_ref());
        let animals = all.filter(|one| (one.stage == Stage::Growing) == grows).count();
        let shared = self.shared.get(&like)?.foresees(animal.at, animals);
        let fits = Fits::new(log + shared.mean, (variance + shared.variance).sqrt());
        Some(expected(&fits, &animal, known, 0))
    }

    /// By how much what the growing share lies above what the grown do.
    pub(super) fn apart(&self, at: f64) -> f64 {
        // What they shared last, and not what is left of it by now: the animal's own state was beside that.
        let growing = self.shared.get(&Like::Growing).map_or(0.0, Shared::last);
        growing - self.shared.get(&Like::Grown).map_or(0.0, |grown| grown.foresees(at, FEWEST).mean)
    }

    /// The likeliest loss of an animal, told or not.
    #[must_use]
    pub fn loss(&self, id: RecordId, known: &Known) -> Option<Loss> {
        self.members.get(&id)?.loss(known)
    }
}

/// A loss that matters. That growth ends is none.
pub(super) fn sought(animal: &Animal) -> Option<Change> {
    let ends = animal.nearly_grown && animal.only_gains_less();
    animal.loss().filter(|loss| loss.now < -LEAST && !ends)
}

/// The loss of an animal as people hear of it.
pub(super) fn loss(animal: &Animal, known: &Known) -> Option<Loss> {
    let whose = whose(animal);
    let sought = sought(animal).map(|change| (change, known.a_year(whose, change.odds)));
    let (change, a_year, told) = match (sought, animal.held()) {
        // What was lost before it was told, or treated, is part of the figure.
        (Some((change, a_year)), Some(held)) if known.is_told(a_year) => (
            Change { since: held.since.min(change.since), now: held.now.min(change.now), ..change },
            a_year,
            true,
        ),
        (Some((change, a_year)), None) if known.is_told(a_year) && !animal.is_treated() => {
            (change, a_year, true)
        }
        (_, Some(held)) => (held, known.a_year(whose, held.odds), true),
        (Some((change, a_year)), None) => (change, a_year, false),
        (None, None) => return None,
    };
    let percent = percent(change.now);
    let since = instant(change.since);
    let gains_less = animal.only_gains_less();
    let severity = if gains_less { severity(percent).min(Severity::Act) } else { severity(percent) };
    Some(Loss {
        since,
        course: change.course,
        percent,
        gains_less,
        severity,
        odds: change.odds,
        a_year,
        told,
    })
}

pub(super) fn expected(fits: &Fits, animal: &Animal, known: &Known, beside: u32) -> Expected {
    let kin = known.learnt().pairs();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count, saturating")]
    let kin = kin as u32;
    Expected {
        mass: Mass::from_grams(fits.log.exp()),
        low: fits.low,
        high: fits.high,
        spread: fits.spread,
        basis: super::answer::Basis {
            readings: animal.readings,
            kin,
            beside,
            standing: standing(animal.stage),
        },
    }
}

const fn standing(stage: Stage) -> Standing {
    match stage {
        Stage::Growing => Standing::Growing,
        Stage::Grown => Standing::Grown,
        Stage::Carrying { .. } => Standing::Carrying,
        Stage::Nursing { .. } => Standing::Nursing,
        Stage::Resting { .. } => Standing::Resting,
    }
}

pub(super) fn whose(animal: &Animal) -> Whose {
    match animal.stage {
        Stage::Growing => Whose::Growing,
        Stage::Carrying { .. } | Stage::Nursing { .. } => Whose::Mother,
        Stage::Grown | Stage::Resting { .. } => Whose::Grown,
    }
}

pub(super) fn known_life(life: Life) -> stage::Life {
    stage::Life { sex: life.sex, born: life.born.map(weeks) }
}

const WEEK_MS: f64 = 604_800_000.0;

/// An instant in weeks.
pub(super) fn weeks(at: Instant) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "milliseconds since 1970 are below 2^53")]
    let ms = at.timestamp_millis() as f64;
    ms / WEEK_MS
}

/// Weeks as an instant.
#[expect(clippy::cast_possible_truncation, reason = "rounded on purpose")]
pub(super) fn instant(weeks: f64) -> Instant {
    DateTime::from_timestamp_millis((weeks * WEEK_MS).round() as i64).unwrap_or_default()
}
