//! The parts that speak for exclusion, each with its numbers.

use super::hidden::Week;
use super::pressure::now;
use super::record::{CHANGE_DAYS, Member, Record, Stage};
use super::seen::{Counts, Seen, Stretch};
use super::surprise::{self, Four, MOST, Surprise, Trials};
use crate::standing::contests::Misfit;
use crate::standing::elo::{self, Ratings};
use crate::standing::rates::Watched;
use crate::terms::{Instant, Sex};
use chrono::TimeDelta;
use serde::Serialize;

const WEEK: TimeDelta = TimeDelta::days(7);

/// Contests within the days of now below which a fall in standing is not told.
const FEWEST_CONTESTS: usize = 3;

/// Hours of watching within the days of now below which aggression is thin evidence. These limits are
/// choices of Holt's: a calm answer from less says little.
const THIN_HOURS: f64 = 1.0;

/// Feeds or scans within the days of now below which they are thin evidence.
const THIN_TRIALS: u32 = 5;

/// What kind of evidence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Aggression received per hour watched.
    Aggression,
    /// Kept off food.
    Food,
    /// Alone in scans.
    Isolation,
    /// Fall in standing.
    Fall,
    /// Weight against the companions.
    Weight,
    /// Grown or growing up beside a breeding animal of its own sex.
    BesideBreeder,
    /// The group's composition changed lately.
    GroupChange,
}

impl Kind {
    /// The kinds that have to be observed: these can be missing.
    pub const OBSERVED: [Self; 5] = [Self::Aggression, Self::Food, Self::Isolation, Self::Fall, Self::Weight];
}

/// A piece of evidence with its numbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Evidence<A> {
    /// Aggression received while watched.
    Aggression(Surprise<Watched>),
    /// Feeds at which it was kept off.
    Food(Surprise<Trials>),
    /// Scans in which it was alone.
    Isolation(Surprise<Trials>),
    /// Elo-rating when its past ended, and as of the moment asked about.
    Fall {
        /// Rating then.
        before: f64,
        /// Rating now.
        now: f64,
        /// Contests in between.
        contests: usize,
    },
    /// Weight against the companions, in robust standard deviations; below zero when it falls behind.
    Weight {
        /// As the record gives it.
        z: f64,
    },
    /// A breeding animal of its own sex, and how near kin the two are, which is told and not weighed:
    /// whether kin are spared or driven out differs between species.
    BesideBreeder {
        /// The breeding animal.
        breeder: A,
        /// Their kinship, where known.
        kinship: Option<f64>,
    },
    /// The latest change of composition.
    GroupChange {
        /// When.
        at: Instant,
        /// What.
        what: String,
    },
}

impl<A> Evidence<A> {
    /// What kind it is.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Aggression(_) => Kind::Aggression,
            Self::Food(_) => Kind::Food,
            Self::Isolation(_) => Kind::Isolation,
            Self::Fall { .. } => Kind::Fall,
            Self::Weight { .. } => Kind::Weight,
            Self::BesideBreeder { .. } => Kind::BesideBreeder,
            Self::GroupChange { .. } => Kind::GroupChange,
        }
    }

    /// Whether it rests on so little that a calm answer would say little.
    #[must_use]
    pub fn thin(&self) -> bool {
        match self {
            Self::Aggression(surprise) => surprise.counts.own_now.hours < THIN_HOURS,
            Self::Food(surprise) | Self::Isolation(surprise) => surprise.counts.own_now.of < THIN_TRIALS,
            Self::Fall { .. }
            | Self::Weight { .. }
            | Self::BesideBreeder { .. }
            | Self::GroupChange { .. } => false,
        }
    }

    /// How strongly it speaks, from 0 to [`MOST`]; facts are 0 or 1.
    #[must_use]
    pub fn strength(&self) -> f64 {
        match self {
            Self::Aggression(surprise) => surprise.excess,
            Self::Food(surprise) | Self::Isolation(surprise) => surprise.excess,
            // One stake is what an even contest moves twice: half a stake per lost contest.
            Self::Fall { before, now, .. } => {
                ((before - now) / elo::Settings::default().stake).clamp(0.0, MOST)
            }
            Self::Weight { z } => (-z).clamp(0.0, MOST),
            Self::BesideBreeder { .. } | Self::GroupChange { .. } => 1.0,
        }
    }
}

/// All members of a group, ready to be asked about one by one.
pub(super) struct Reader<'a, A> {
    record: &'a Record<A>,
    ratings: Ratings<A>,
    /// What was seen of each member, in their order.
    seen: Vec<Seen>,
}

impl<'a, A: Clone + Ord> Reader<'a, A> {
    pub(super) fn new(record: &'a Record<A>, as_of: Instant) -> Result<Self, Misfit<A>> {
        let until: Vec<_> = record.contests.iter().filter(|c| c.at < as_of).cloned().collect();
        let ratings = elo::rate(&until, elo::Settings::default())?;
        let seen = record.members.iter().map(|member| Seen::of(record, &member.animal)).collect();
        Ok(Self { record, ratings, seen })
    }

    /// The weeks of a member up to an instant, from the first in which anything was seen of anybody, each with where
    /// it lies. They are weeks of the calendar, so that whoever asks on another day is told the same of the past.
    pub(super) fn weeks(&self, place: usize, as_of: Instant) -> Vec<(Stretch, Week)> {
        let Some(first) = self.seen.iter().filter_map(Seen::first).min() else { return Vec::new() };
        let begun = i32::try_from((first - Instant::UNIX_EPOCH).num_weeks()).unwrap_or(0);
        let mut from = Instant::UNIX_EPOCH + WEEK * begun;
        let mut weeks = Vec::new();
        while from < as_of {
            let stretch = Stretch { from, until: (from + WEEK).min(as_of) };
            let others = self.seen.iter().enumerate().filter(|(other, _)| *other != place);
            let others = others.fold(Counts::default(), |sum, (_, seen)| sum + seen.within(stretch));
            let since = stretch.until - TimeDelta::days(CHANGE_DAYS);
            let changed =
                self.record.changes.iter().any(|change| since <= change.at && change.at < stretch.until);
            weeks.push((stretch, Week { own: self.seen[place].within(stretch), others, changed }));
            from += WEEK;
        }
        weeks
    }

    /// Whether a breeder of its own sex is beside a member that is grown or growing up.
    pub(super) fn has_rival(&self, place: usize) -> bool {
        self.beside_breeder(&self.record.members[place]).is_some()
    }

    /// What was seen of a member in the days of now.
    pub(super) fn seen_now(&self, place: usize, as_of: Instant) -> Counts {
        self.seen[place].within(now(as_of))
    }

    /// Everything there is to say about the member at a place as of an instant, missing kinds left out. `past` is
    /// what the days of now are compared with, newest first.
    pub(super) fn evidence(&self, place: usize, as_of: Instant, past: &[Stretch]) -> Vec<Evidence<A>> {
        let member = &self.record.members[place];
        let four = self.four(place, now(as_of), past);
        [
            surprise::of_rate(part(&four, |counts| counts.aggression)).map(Evidence::Aggression),
            surprise::of_share(part(&four, |counts| counts.feeds)).map(Evidence::Food),
            surprise::of_share(part(&four, |counts| counts.alone)).map(Evidence::Isolation),
            self.fall(&member.animal, as_of, past),
            self.weight(&member.animal),
            self.beside_breeder(member),
            self.group_change(as_of),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// A member and all its companions, now and in the past of the member.
    fn four(&self, place: usize, now: Stretch, past: &[Stretch]) -> Four<Counts> {
        let of = |seen: &Seen| {
            let past = past.iter().fold(Counts::default(), |sum, stretch| sum + seen.within(*stretch));
            (seen.within(now), past)
        };
        let (own_now, own_past) = of(&self.seen[place]);
        let companions = self.seen.iter().enumerate().filter(|(other, _)| *other != place);
        let (others_now, others_past) = companions
            .map(|(_, seen)| of(seen))
            .fold(Default::default(), |sum: (Counts, Counts), (now, past)| (sum.0 + now, sum.1 + past));
        Four { own_now, own_past, others_now, others_past }
    }

    fn fall(&self, animal: &A, as_of: Instant, past: &[Stretch]) -> Option<Evidence<A>> {
        let edge = past.first().map_or(now(as_of).from, |newest| newest.until);
        let course = self.ratings.course(animal).iter();
        let contests = course.filter(|(at, _)| edge < *at && *at < as_of).count();
        (contests >= FEWEST_CONTESTS).then(|| Evidence::Fall {
            before: self.ratings.at(animal, edge),
            now: self.ratings.at(animal, as_of - TimeDelta::microseconds(1)),
            contests,
        })
    }

    fn weight(&self, animal: &A) -> Option<Evidence<A>> {
        let (_, z) = self.record.weights.iter().find(|(of, _)| of == animal)?;
        Some(Evidence::Weight { z: *z })
    }

    fn beside_breeder(&self, member: &Member<A>) -> Option<Evidence<A>> {
        if member.breeding || member.stage == Stage::Young || member.sex == Sex::Unknown {
            return None;
        }
        let rival =
            |other: &&Member<A>| other.animal != member.animal && other.breeding && other.sex == member.sex;
        let breeder = &self.record.members.iter().find(rival)?.animal;
        let pair = |(a, b, _): &&(A, A, f64)| {
            (a, b) == (&member.animal, breeder) || (a, b) == (breeder, &member.animal)
        };
        let kinship = self.record.kinship.iter().find(pair).map(|(.., kinship)| *kinship);
        Some(Evidence::BesideBreeder { breeder: breeder.clone(), kinship })
    }

    fn group_change(&self, as_of: Instant) -> Option<Evidence<A>> {
        let since = as_of - TimeDelta::days(CHANGE_DAYS);
        let recent = self.record.changes.iter().filter(|change| since <= change.at && change.at < as_of);
        let latest = recent.max_by_key(|change| change.at)?;
        Some(Evidence::GroupChange { at: latest.at, what: latest.what.clone() })
    }
}

fn part<T>(four: &Four<Counts>, of: impl Fn(&Counts) -> T) -> Four<T> {
    Four {
        own_now: of(&four.own_now),
        own_past: of(&four.own_past),
        others_now: of(&four.others_now),
        others_past: of(&four.others_past),
    }
}
