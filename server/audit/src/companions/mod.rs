//! An animal's weight among its companions: one that loses while the others hold is being kept from
//! its food, or ill, long before its loss is remarkable by itself.
//!
//! What moves all of a group alike (season, feed, a cold morning, a scale) is expected of each of them,
//! as far as the group was seen to move together, so that the same shortfall stands out sooner and a
//! season that is not yet known raises less. A group that loses as a whole is no yardstick: that is told
//! of the group, and each animal is judged by itself meanwhile.
//!
//! - [`watch`]: the trends of all members of a group as of an instant, each also beside the others.
//! - [`Watched`], [`Whole`]: what it tells of each, and of the group as one.
//! - [`Cause`]: whether a scale explains a group's fall better than a loss.

mod beside;
mod cause;
#[cfg(test)]
mod tests;
mod together;
mod watch;
mod whole;

pub use cause::Cause;
pub use watch::{Watched, watch};
pub use whole::Whole;
