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
//! **State.** [`Known`] is one row for each kind at a site, [`Group`] one for each group with its animals in it. Both
//! are plain data: kept as JSON they are read back bit by bit. [`advance`] moves a group on by one round and gives
//! what is learnt of the kind beside it ([`Lessons`]), which [`Known::learns`] takes in. The same input gives the same
//! state, so a round that comes late, or a reading that is corrected, is taken in by going back to the rows of the
//! last instant before it and giving everything since once more, in order of time; that this equals a run from the
//! beginning is tested. [`Herd`] does the same for all groups of a kind at once: it is what a replay uses.
//!
//! **Use.** For a round, `records` reads the two rows, tells the group what was recorded since ([`Group::notes`]:
//! births, who joined, what was settled), calls [`advance`], writes both rows in the transaction of the readings,
//! answers each [`Judgement`] and raises a concern where [`Loss::told`] says so. Lists and pages ask
//! [`Group::expects`] and [`Group::loss`]; so do the concern of a group ([`Group::whole`]) and the weighing
//! plan: an animal in [`Group::waiting`] is due. How well it does is measured by the example `families`.
//!
//! **Limits.** It knows nothing of height, condition or illness. A kind without an age of breeding has no young, and
//! one without said pregnancies learns of them by gain alone. A loss while she carries is seen late.

mod animal;
mod answer;
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

pub use answer::{Basis, Entry, Expected, Fact, Judgement, Kind, Life, Loss, Settled, Standing, Weighing};
pub use group::Group;
pub use herd::Herd;
pub use known::{Known, Lessons};
pub use onsets::Course;
pub use round::{Advanced, advance};
pub use slips::Slip;
pub use together::{Cause, Whole};
