//! Standing in the group: who gives way to whom, who is with whom, and who is being pushed out.
//!
//! - [`contests`]: decided interactions, counted by who won against whom.
//! - [`david`]: David's scores and the steepness of a hierarchy.
//! - [`linearity`]: whether there is a linear order at all.
//! - [`elo`]: ratings that follow time.
//! - [`rates`]: events per hour watched, with what the watching leaves open.
//! - [`association`]: who is seen with whom, and who is seen alone.
//! - [`budget`]: what the animals do with their time.
//! - [`observed`]: from what a person noted to what is counted.
//! - [`exclusion`]: who is being pushed out.
//!
//! In all of these the winner is the one that stays or takes, and the loser the one that yields. A table
//! of fleeing has its rows and columns the other way round; scores of a transposed table are the exact
//! negatives, which looks right and is wrong.

pub mod association;
pub mod budget;
pub mod contests;
pub mod david;
pub mod elo;
pub mod exclusion;
pub mod linearity;
pub mod observed;
pub mod rates;
