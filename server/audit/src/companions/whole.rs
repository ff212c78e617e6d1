//! The group as one.

use super::cause::{Cause, cause};
use super::together::Together;
use crate::episode::Severity;
use crate::terms::Day;
use crate::trend::chart;
use crate::trend::series::monday;
use crate::trend::watch::percent;
use crate::trend::{Evidence, Finding, Settings};
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
    /// What explains it better: that they lose, or that a scale is off.
    pub cause: Cause,
}

impl Whole {
    /// How soon to look at the group.
    #[must_use]
    pub fn severity(&self, settings: &Settings) -> Severity {
        settings.severity(-self.level_percent, false)
    }

    /// Whether a member's loss is the group's and told with it: it does not lie further below the group
    /// than what an animal does alone would matter. What is urgent is told of the animal too, unless a
    /// scale explains both.
    #[must_use]
    pub fn covers(&self, finding: &Finding, settings: &Settings) -> bool {
        let Evidence::Loss(loss) = finding.evidence else { return false };
        let shared = loss.level_percent > self.level_percent - settings.least_lone_loss_percent;
        shared && (finding.severity < Severity::Urgent || matches!(self.cause, Cause::Scale { .. }))
    }
}

/// Weeks without enough readings after which the last level says nothing any more.
const STALE: i32 = 6;

/// The group in week `now`, if by then its middle has lost `least_percent` and four in five with it.
pub(super) fn whole(together: &Together, now: i32, least_percent: f64) -> Option<Whole> {
    let weeks: Vec<(i32, f64)> = together.all().weeks().collect();
    let mut level = chart::smoothed();
    let mut since = None;
    let mut last = None;
    for &(number, middle) in &weeks {
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
    let cause = cause(together, &weeks);
    Some(Whole { since: monday(since?), level_percent, weighed, below, cause })
}
