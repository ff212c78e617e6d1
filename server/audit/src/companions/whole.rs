//! The group as one.

use super::together::Together;
use crate::terms::Day;
use crate::trend::chart;
use crate::trend::series::monday;
use crate::trend::watch::percent;
use serde::{Deserialize, Serialize};

/// A group that loses as a whole: feed, parasites, cold, a scale. One matter, whatever its size.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Whole {
    /// Monday of the first week in which the middle of the group stood below what was expected.
    pub since: Day,
    /// Smoothed level of the middle of the group against what was expected, in %; negative.
    pub level_percent: f64,
    /// Members weighed in the last week that counts.
    pub weighed: usize,
    /// How many of them stood below what was expected of them.
    pub below: usize,
}

/// Weeks without enough readings after which the last level says nothing any more.
const STALE: i32 = 6;

/// The group in week `now`, if by then its middle has lost `least_percent` and four in five with it.
pub(super) fn whole(together: &Together, now: i32, least_percent: f64) -> Option<Whole> {
    let mut level = chart::smoothed();
    let mut since = None;
    let mut last = None;
    for (number, middle) in together.all().weeks() {
        level.add_after(middle, last.map_or(1.0, |last| f64::from(number - last)));
        last = Some(number);
        if level.value() >= 0.0 {
            since = None;
        } else if since.is_none() {
            since = Some(number);
        }
    }
    let last = last.filter(|last| now - last <= STALE)?;
    let level_percent = percent(level.value());
    let (weighed, below) = together.below(last);
    (level_percent <= -least_percent && 5 * below >= 4 * weighed).then_some(())?;
    Some(Whole { since: monday(since?), level_percent, weighed, below })
}
