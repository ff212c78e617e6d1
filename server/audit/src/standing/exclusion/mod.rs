//! Who is being pushed out of the group: an estimate with every piece of evidence, and what is missing.
//!
//! - [`record`]: what is known of a group: its members, what was seen, what changed.
//! - `seen`: what was seen of one animal, ready to be counted in any stretch of time.
//! - `pressure`: when an animal was under pressure, which is no yardstick for it.
//! - [`surprise`]: how far a count lies from what the animal's own past and its companions' present lead
//!   one to expect.
//! - [`evidence`]: the parts that speak for exclusion, each with its numbers.
//! - [`estimate`]: the parts put together.
//! - [`told`]: the estimate in words.
//!
//! # Method
//! Five things are looked at over the last [`record::NOW_DAYS`] days: aggression received per hour
//! watched, being kept off food, being alone in scans, falling in standing, and losing weight against
//! the companions. The first three are compared with the [`record::PAST_DAYS`] days before them, and with
//! what happened to the companions meanwhile, so that a season of unrest that concerns everyone, and an
//! animal that was always low, raise nothing. Weeks in which the estimate itself, by what had been seen then,
//! found an animal under pressure are no part of its past: what has gone on for months stays told until it ends.
//! Each part is a number from 0 (as expected, or better) to 4;
//! a calm part takes nothing away. Two facts are added: that the animal is grown or growing up beside a
//! breeding one of its own sex, and that the group's composition changed lately.
//!
//! The parts are weighed and summed to log-odds. **Missing evidence counts as 0, which is the least that
//! any evidence can count: it can only lower the estimate, and the [`estimate::Certainty`], never raise
//! alarm.** No weight is negative.
//!
//! # Where the weights are from
//! No published threshold for exclusion was found, and no open data with known outcomes. The weights are
//! a logistic regression on *simulated* groups (`examples/exclusion_calibration`), in which some animals
//! are pushed out, others fall ill, are low for life, have a bad week, or live through unrest that
//! concerns all. They order animals by how much speaks for exclusion; how often a given estimate is right
//! in a real group is not known until outcomes are recorded, and the base rate is the simulation's.

pub mod estimate;
pub mod evidence;
mod pressure;
pub mod record;
mod seen;
pub mod surprise;
pub mod told;

pub use estimate::{Certainty, Estimate, estimate};
pub use record::Record;
