//! What was seen of one animal, ready to be counted in any stretch of time.

use super::record::Record;
use super::surprise::Trials;
use crate::standing::association::Scan;
use crate::standing::rates::Watched;
use crate::terms::Instant;
use std::ops::Add;

/// From an instant on and before another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stretch {
    pub(super) from: Instant,
    pub(super) until: Instant,
}

/// What was counted of one animal in some stretches.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counts {
    pub(super) aggression: Watched,
    pub(super) feeds: Trials,
    pub(super) alone: Trials,
}

impl Add for Counts {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            aggression: self.aggression + other.aggression,
            feeds: self.feeds + other.feeds,
            alone: self.alone + other.alone,
        }
    }
}

/// What was seen of one animal, in order of time.
pub(super) struct Seen {
    /// When watches of it began and when they ended.
    watches: [Ends; 2],
    /// Contests that it lost while it was watched.
    lost: Vec<Instant>,
    /// Feeds, and whether it was kept off.
    feeds: Vec<(Instant, bool)>,
    /// Scans that saw it, and whether it was alone.
    scans: Vec<(Instant, bool)>,
}

impl Seen {
    pub(super) fn of<A: Ord>(record: &Record<A>, animal: &A) -> Self {
        let watches: Vec<_> = record.watched.iter().filter(|watch| watch.animal == *animal).collect();
        let contests = record.contests.iter().filter(|contest| contest.loser == *animal);
        let during = |at: Instant| watches.iter().filter(move |watch| watch.during.contains(at)).count();
        let mut lost: Vec<Instant> =
            contests.flat_map(|contest| std::iter::repeat_n(contest.at, during(contest.at))).collect();
        lost.sort_unstable();
        let feeds = record.feeds.iter().filter(|feed| feed.animal == *animal);
        let mut feeds: Vec<_> = feeds.map(|feed| (feed.at, feed.kept_off)).collect();
        feeds.sort_unstable();
        let party =
            |scan: &Scan<A>| scan.iter().find(|party| party.contains(animal)).map(|party| party.len() == 1);
        let mut scans: Vec<_> =
            record.scans.iter().filter_map(|(at, scan)| Some((*at, party(scan)?))).collect();
        scans.sort_unstable();
        let ends = watches.iter().filter_map(|watch| watch.during.until);
        let watches = [Ends::of(watches.iter().map(|watch| watch.during.from)), Ends::of(ends)];
        Self { watches, lost, feeds, scans }
    }

    /// The first instant at which anything was seen of it.
    pub(super) fn first(&self) -> Option<Instant> {
        let [began, _] = &self.watches;
        let firsts =
            [began.at.first(), self.feeds.first().map(|(at, _)| at), self.scans.first().map(|(at, _)| at)];
        firsts.into_iter().flatten().min().copied()
    }

    /// What was seen in a stretch.
    pub(super) fn within(&self, stretch: Stretch) -> Counts {
        let [began, ended] = &self.watches;
        let micros = |at: Instant| began.before(at) - ended.before(at);
        #[expect(
            clippy::cast_precision_loss,
            reason = "a year has fewer microseconds than a double tells apart"
        )]
        let hours = (micros(stretch.until) - micros(stretch.from)) as f64 / 3.6e9;
        let lost = |at: Instant| self.lost.partition_point(|lost| *lost < at);
        let events = u32::try_from(lost(stretch.until) - lost(stretch.from)).unwrap_or(u32::MAX);
        Counts {
            aggression: Watched { events, hours },
            feeds: trials(&self.feeds, stretch),
            alone: trials(&self.scans, stretch),
        }
    }
}

fn trials(seen: &[(Instant, bool)], stretch: Stretch) -> Trials {
    let place = |at: Instant| seen.partition_point(|(when, _)| *when < at);
    let within = &seen[place(stretch.from)..place(stretch.until).max(place(stretch.from))];
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    Trials { hits: count(within.iter().filter(|(_, hit)| *hit).count()), of: count(within.len()) }
}

/// Instants in order, with their sums: how long ago they all are, taken together, is told in one step.
struct Ends {
    at: Vec<Instant>,
    /// Sum of the first so many, in microseconds since 1970.
    sums: Vec<i128>,
}

impl Ends {
    fn of(at: impl Iterator<Item = Instant>) -> Self {
        let mut at: Vec<Instant> = at.collect();
        at.sort_unstable();
        let mut sums = Vec::with_capacity(at.len() + 1);
        sums.push(0);
        for one in &at {
            sums.push(sums[sums.len() - 1] + i128::from(one.timestamp_micros()));
        }
        Self { at, sums }
    }

    /// Microseconds from each of those before an instant up to it, summed.
    fn before(&self, at: Instant) -> i128 {
        let n = self.at.partition_point(|one| *one < at);
        i128::from(at.timestamp_micros()) * i128::try_from(n).unwrap_or(i128::MAX) - self.sums[n]
    }
}
