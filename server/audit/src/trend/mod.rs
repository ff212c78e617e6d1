//! The weight of one animal over time: is it losing, since when, and how sure is that?
//!
//! 1. Readings that may be used are drawn together by week ([`Subject`]; a doubtful one counts only
//!    if another agrees with it).
//! 2. Each week is compared with what the animal itself weighed over the year before, freed of
//!    season, leaving out the last weeks so that a slow loss cannot become its own yardstick. No week
//!    is compared with what came after it.
//! 3. What is left over goes on a cumulative sum chart, which adds up small shortfalls until chance
//!    is no longer a likely reason.
//!
//! No finding rests on a single reading that nobody confirmed, and none is made of fewer than three.
//!
//! - [`watch`]: the numbers and the findings of one animal as of an instant.
//! - [`Subject`]: what it is given.
//! - [`Settings`]: every threshold, with its default and its source.
//! - [`Trend`], [`Finding`]: what it tells.
//!
//! Animals that live together are watched together: see [`crate::companions`].

mod baseline;
pub(crate) mod chart;
mod finding;
mod refusals;
pub(crate) mod residuals;
mod seasons;
pub(crate) mod series;
mod settings;
mod spread;
mod subject;
#[cfg(test)]
mod tests;
pub(crate) mod watch;

pub use finding::{Baseline, Beside, Evidence, Finding, Latest, Loss, Matter, Refusal, Slope, Trend};
pub use settings::Settings;
pub use subject::Subject;
pub use watch::watch;
