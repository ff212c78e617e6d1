//! Textbook statistics, each in its own file with the source of its formula.
//!
//! All functions take finite numbers. They answer `None` where the quantity is not defined for so
//! few readings, never a number that only looks like one.

mod count;
pub mod cusum;
pub mod ewma;
pub mod exact;
pub mod fleiss;
pub mod icc;
pub mod individuals;
pub mod kaplan_meier;
pub mod kappa;
pub mod krippendorff;
pub mod least_squares;
pub mod lms;
pub mod mann_kendall;
pub mod median_mad;
pub mod nonlinear;
pub mod normal;
pub mod theil_sen;
mod ties;

pub(crate) use count::count;
