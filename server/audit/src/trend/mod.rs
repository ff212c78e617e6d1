//! The weight of one animal over time: is it losing, since when, and how sure is that?
//!
//! A reading is compared with what the animal itself weighed over the past year, leaving out the last
//! weeks so that a slow loss cannot become its own yardstick. What is left over is put on a
//! cumulative sum chart, which adds up small shortfalls until chance is no longer a likely reason.
//! No finding rests on a single reading that nobody confirmed, and none is made of fewer than three.
//!
//! - [`watch`]: the numbers and the findings of one animal as of an instant.
//! - [`Subject`]: what it is given.
//! - [`Settings`]: every threshold, with its default and its source.
//! - [`Trend`], [`Finding`]: what it tells.

mod chart;
mod finding;
mod settings;
mod subject;
mod watch;
mod weeks;

pub use finding::{Baseline, Evidence, Finding, Latest, Loss, Refusal, Slope, Trend};
pub use settings::Settings;
pub use subject::Subject;
pub use watch::watch;
