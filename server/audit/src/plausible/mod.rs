//! Whether a reading can be right, judged at entry against what the animal was expected to weigh.
//!
//! - [`judge`]: one reading against the animal's own history.
//! - [`judge_round`]: a whole round, in which two animals may have been taken for each other and the
//!   scale may be off for all of them.

mod forecast;
mod judge;
mod round;
mod settings;

pub use judge::{Slip, Verdict, judge};
pub use round::{Drift, Exchange, Round, Weighed, judge_round};
pub use settings::Settings;
