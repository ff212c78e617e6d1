//! Who is being pushed out of the group: an estimate with every piece of evidence, and what is missing.
//!
//! - [`record`]: what is known of a group: its members, what was seen, what changed.
//! - `seen`: what was seen of one animal, ready to be counted in any stretch of time.
//! - [`hidden`]: whether an animal is under pressure, as a state that is not seen and lasts.
//! - `pressure`: when an animal was under pressure, which is no yardstick for it.
//! - [`surprise`]: how far a count lies from what the animal's own past and its companions' present lead
//!   one to expect.
//! - [`evidence`]: the parts that speak for exclusion, each with its numbers.
//! - [`estimate`]: the parts put together.
//! - [`outcomes`]: the per cent that are told, set right by what became of a site's own animals.
//! - [`told`]: the estimate in words.
//!
//! # Method
//! Week by week, what was watched of an animal (aggression received in the hours watched, feeds at which it was kept
//! off, scans in which it was alone) is more or less likely under pressure that lasts, in a bad spell, where it
//! withdraws by itself, or as it is usual for it; the states are not seen, and last ([`hidden`]). What is usual is
//! learned from its own calm weeks and from its companions, and moved by how its companions fare at the time, so that
//! unrest that concerns all, and an animal that was always low, raise nothing. Weight against the companions and a
//! fall in standing over the last [`record::NOW_DAYS`] days count once, at the end. That the animal is grown or growing
//! up beside a breeding one of its own sex, and that the group's composition changed lately, make it likelier that
//! pressure begins.
//!
//! **What was not watched says nothing, in either direction**: without it the estimate goes back to the base rate,
//! which is far below what is told, and the [`estimate::Certainty`] falls. What was watched and was calm lowers the
//! estimate.
//!
//! # Where the numbers are from
//! No published threshold for exclusion was found, and no open data with known outcomes. The numbers are fitted on
//! two kinds of *simulated* societies and measured on others (`examples/exclusion_calibration`), in which some animals
//! are pushed out or lastingly pressed, others fall ill, are low for life, have a bad week, are new, in oestrus or with
//! young, or live through unrest that concerns all. How often a given estimate is right in a real group is not known
//! until outcomes are recorded; [`outcomes`] sets the per cent right by them.

pub mod estimate;
pub mod evidence;
pub mod hidden;
pub mod outcomes;
mod pressure;
pub mod record;
mod seen;
pub mod surprise;
pub mod told;

pub use estimate::{Certainty, Estimate, estimate};
pub use record::Record;
