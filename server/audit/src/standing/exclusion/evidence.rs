//! The parts that speak for exclusion, each with its numbers.

use super::record::{CHANGE_DAYS, Member, Record, Stage, Windows};
use super::surprise::{self, Four, MOST, Surprise, Trials};
use crate::standing::contests::Misfit;
use crate::standing::elo::{self, Ratings};
use crate::standing::rates::Watched;
use crate::terms::{Instant, Interval, Sex};
use chrono::TimeDelta;
use serde::Serialize;
use std::ops::Add;

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
    /// Elo-rating when the days of now began, and as of the moment asked about.
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
    as_of: Instant,
    edge: Instant,
    ratings: Ratings<A>,
    /// What was counted of each member, in their order.
    counts: Vec<Counts>,
}

/// What was counted of one animal, now and in the past.
#[derive(Clone, Copy, Default)]
struct Counts {
    aggression: [Watched; 2],
    feeds: [Trials; 2],
    alone: [Trials; 2],
}

impl<'a, A: Clone + Ord> Reader<'a, A> {
    pub(super) fn new(record: &'a Record<A>, as_of: Instant) -> Result<Self, Misfit<A>> {
        let until: Vec<_> = record.contests.iter().filter(|c| c.at < as_of).cloned().collect();
        let ratings = elo::rate(&until, elo::Settings::default())?;
        let windows = Windows::before(as_of);
        let counts =
            record.members.iter().map(|member| Counts::of(record, &member.animal, windows)).collect();
        Ok(Self { record, as_of, edge: windows.now.from, ratings, counts })
    }

    /// Everything there is to say about the member at a place, missing kinds left out.
    pub(super) fn evidence(&self, place: usize) -> Vec<Evidence<A>> {
        let member = &self.record.members[place];
        [
            surprise::of_rate(self.four(place, |counts| counts.aggression)).map(Evidence::Aggression),
            surprise::of_share(self.four(place, |counts| counts.feeds)).map(Evidence::Food),
            surprise::of_share(self.four(place, |counts| counts.alone)).map(Evidence::Isolation),
            self.fall(&member.animal),
            self.weight(&member.animal),
            self.beside_breeder(member),
            self.group_change(),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// One quantity of a member and of all its companions, now and in the past.
    fn four<T: Copy + Default + Add<Output = T>>(
        &self,
        place: usize,
        quantity: impl Fn(&Counts) -> [T; 2],
    ) -> Four<T> {
        let [own_now, own_past] = quantity(&self.counts[place]);
        let companions = self.counts.iter().enumerate().filter(|(other, _)| *other != place);
        let (others_now, others_past) = companions
            .map(|(_, counts)| quantity(counts))
            .fold(Default::default(), |sum: (T, T), [now, past]| (sum.0 + now, sum.1 + past));
        Four { own_now, own_past, others_now, others_past }
    }

    fn fall(&self, animal: &A) -> Option<Evidence<A>> {
        let contests = self.ratings.course(animal).iter().filter(|(at, _)| *at > self.edge).count();
        (contests >= FEWEST_CONTESTS).then(|| Evidence::Fall {
            before: self.ratings.at(animal, self.edge),
            now: self.ratings.now(animal),
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

    fn group_change(&self) -> Option<Evidence<A>> {
        let since = self.as_of - TimeDelta::days(CHANGE_DAYS);
        let recent = self.record.changes.iter().filter(|change| since <= change.at && change.at < self.as_of);
        let latest = recent.max_by_key(|change| change.at)?;
        Some(Evidence::GroupChange { at: latest.at, what: latest.what.clone() })
    }
}

impl Counts {
    fn of<A: Ord>(record: &Record<A>, animal: &A, windows: Windows) -> Self {
        let mut counts = Self::default();
        let both = [windows.now, windows.past];
        let mut lost: Vec<Instant> = record
            .contests
            .iter()
            .filter(|contest| contest.loser == *animal)
            .map(|contest| contest.at)
            .collect();
        lost.sort_unstable();
        let lost_before = |at: Instant| lost.partition_point(|lost| *lost < at);
        for watch in record.watched.iter().filter(|watch| watch.animal == *animal) {
            for (window, watched) in both.iter().zip(&mut counts.aggression) {
                let Some((from, until)) = overlap(watch.during, *window) else { continue };
                watched.hours += (until - from).as_seconds_f64() / 3_600.0;
                let seen = lost_before(until) - lost_before(from);
                watched.events += u32::try_from(seen).unwrap_or(u32::MAX);
            }
        }
        for feed in record.feeds.iter().filter(|feed| feed.animal == *animal) {
            let one = Trials { hits: feed.kept_off.into(), of: 1 };
            add_where(&both, &mut counts.feeds, feed.at, one);
        }
        for (at, scan) in &record.scans {
            if let Some(party) = scan.iter().find(|party| party.contains(animal)) {
                add_where(&both, &mut counts.alone, *at, Trials { hits: (party.len() == 1).into(), of: 1 });
            }
        }
        counts
    }
}

fn add_where(windows: &[Interval; 2], sums: &mut [Trials; 2], at: Instant, one: Trials) {
    for (window, sum) in windows.iter().zip(sums) {
        if window.contains(at) {
            *sum = *sum + one;
        }
    }
}

/// What a stretch has in common with a window that has an end.
fn overlap(one: Interval, window: Interval) -> Option<(Instant, Instant)> {
    let end = window.until?;
    let (from, until) = (one.from.max(window.from), one.until.map_or(end, |until| until.min(end)));
    (from < until).then_some((from, until))
}
