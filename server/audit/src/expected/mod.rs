//! What an animal is expected to weigh, and whether it loses: one model that everything can ask.
//!
//! **Method.** A linear state space for each animal, of ln mass: level, slope, a slow wandering with memory, and its
//! own part of the season, moved on and corrected by each reading ([`filter`]); and one for what the grown, or the
//! growing, of a group share at a time (season, feed, a cold morning). News beyond 2.5 spreads are held back, so that
//! a wild reading moves little. A loss, or a gain, is looked for by generalised likelihood ratio over its onset and
//! size, each run through the same filter, so that what the filter takes for a new normal is counted (Willsky & Jones
//! 1976, IEEE Trans Autom Control 21:108, from memory). Noise, its memory, the curve of growth and how often healthy
//! animals reach which odds are learnt for the kind, beginning with what is usual, and borrowed by each animal until
//! its own readings say more.
//!
//! **Units.** Time in weeks since 1970 inside, instants outside; mass as ln grams inside, so that all spreads are
//! parts of the mass: 0.02 is about 2 %. The odds of a loss are natural logarithms.
//!
//! **State.** [`Member`] is one row for each animal, [`Together`] one for each group, [`Known`] one for each kind at a
//! site and week. All are plain data: kept as JSON they are read back bit by bit. [`Herd`] holds those that belong
//! together and moves them on, round by round ([`advance`]). What rounds teach of the kind ([`Lessons`]) is taken in
//! when the next week begins ([`Known::learns`]): within a week, groups know nothing of one another, so that they may
//! be weighed and entered in any order. The same input gives the same state, so a round that comes late, or a reading
//! that is corrected, is taken in by giving everything once more, in order of time, each week with what was known of
//! the kind then; that this equals a run from the beginning is tested.
//!
//! **Use.** `records/expected` fills a [`Herd`] from the rows, tells it what was recorded since ([`Herd::notes`]: births,
//! who joined, what was settled), gives it the round, writes the rows in the transaction of the readings, answers each
//! [`Judgement`] and raises a concern where [`Loss::told`] says so. Lists and pages ask [`Herd::expects`] and
//! [`Herd::loss`]; so does the concern of a group ([`Herd::whole`]). How well it does is measured by the example
//! `families`.
//!
//! **Limits.** It knows nothing of height, condition or illness. A kind without an age of breeding has no young, and
//! one without said pregnancies learns of them by gain alone. A loss while she carries is seen late.

mod animal;
mod answer;
mod beside;
mod cause;
mod curve;
mod doubt;
pub mod filter;
mod group;
mod herd;
mod known;
mod mothers;
mod noise;
mod onsets;
mod open;
mod rate;
mod round;
mod slips;
mod stage;
#[cfg(test)]
mod tests;
mod together;
mod treated;

pub use answer::{Basis, Entry, Expected, Fact, Judgement, Kind, Life, Loss, Settled, Standing, Weighing};
pub use beside::{Beside, beside};
pub use cause::Cause;
pub use group::{Group, Member, Together};
pub use herd::{Herd, Told, week};
pub use known::{Known, Lessons};
pub use onsets::Course;
pub use round::{Advanced, Step, advance};
pub use slips::{Slip, likely};
pub use together::Whole;
