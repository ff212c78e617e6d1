//! Checks: what must be done again and again, when it is due, and whether it was done.
//!
//! - [`Recurrence`]: the days of an RRULE.
//! - [`Check`]: a recurrence (or "n days after last done") with its first and last day and its grace.
//! - [`Dues`]: each due day of one animal and what became of it.

mod check;
mod dues;
mod recurrence;

pub use check::{Calendar, Check, Rhythm};
pub use dues::{Coverage, Done, Due, Dues, State};
pub use recurrence::{MAX_DUE_DAYS, Recurrence, RuleError};
