//! What is known of a group, as the estimate needs it.

use crate::standing::association::Scan;
use crate::standing::contests::Decided;
use crate::terms::{Instant, Interval, Sex};

/// Days up to the moment asked about that count as now.
pub const NOW_DAYS: i64 = 21;

/// Days before those that count as the past, leaving out those in which the animal was under pressure.
pub const PAST_DAYS: i64 = 84;

/// Days for which a change in the group's composition counts as recent.
pub const CHANGE_DAYS: i64 = 42;

/// A group with what was seen of it. Order does not matter; what lies outside the days looked at is left
/// aside, except that standing is rated over all contests.
#[derive(Clone, Debug)]
pub struct Record<A> {
    /// Who lives in the group now.
    pub members: Vec<Member<A>>,
    /// When single animals were watched without a break.
    pub watched: Vec<Watch<A>>,
    /// Decided interactions. For rates, only those seen while the loser was being watched count.
    pub contests: Vec<Decided<A>>,
    /// What was seen of single animals at feeds.
    pub feeds: Vec<Feed<A>>,
    /// Scans of the group: which animals were together.
    pub scans: Vec<(Instant, Scan<A>)>,
    /// Weight against the companions: how many robust standard deviations the trend of an animal lies
    /// above (or, below zero, under) those of the others over the same weeks.
    pub weights: Vec<(A, f64)>,
    /// Changes of composition: births, deaths, comings, goings, returns.
    pub changes: Vec<Change>,
    /// Kinship of pairs of members as far as it is known.
    pub kinship: Vec<(A, A, f64)>,
}

/// A member of the group.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Member<A> {
    /// Which animal.
    pub animal: A,
    /// Its sex as far as it is known.
    pub sex: Sex,
    /// How grown up it is.
    pub stage: Stage,
    /// Whether it breeds in this group.
    pub breeding: bool,
}

/// How grown up an animal is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Not yet near maturity.
    Young,
    /// Becoming mature.
    Maturing,
    /// Mature.
    Grown,
}

/// A stretch of watching one animal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Watch<A> {
    /// Which.
    pub animal: A,
    /// From when to when.
    pub during: Interval,
}

/// One animal at one feed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feed<A> {
    /// When.
    pub at: Instant,
    /// Which.
    pub animal: A,
    /// Whether it was displaced from food or hung back until others had done.
    pub kept_off: bool,
}

/// A change of the group's composition.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// When.
    pub at: Instant,
    /// What, in words for people.
    pub what: String,
}
