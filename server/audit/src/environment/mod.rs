//! What the animals' surroundings were like: ranges kept and broken, silent devices, limits of law.
//!
//! - [`range`]: what must be kept, by hour of the day and time of the year.
//! - [`exposure`]: how long and how far outside the range it was, and where nothing is known.
//! - [`alarm`]: when to tell someone, quickly and once.
//! - [`limit`]: rules that allow a limit to be passed for so many hours on end.
//! - [`words`]: an alarm as people are told it.
//!
//! A log with a gap is never a log without fault: silence is told, alarms for itself, and leaves a rule
//! unproven.

pub mod alarm;
pub mod exposure;
pub mod limit;
pub mod range;
pub mod words;

pub use range::{Plan, Range};

use crate::terms::Instant;

/// A reading of some quantity in the unit of its device.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When.
    pub at: Instant,
    /// What was read.
    pub value: f64,
}
