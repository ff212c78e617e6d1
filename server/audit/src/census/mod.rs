//! Stock return: how many animals there were, how many came and went, and that it adds up.
//!
//! - [`stay`]: what a site's books say of one animal or of a litter not yet told apart.
//! - [`moves`]: several sites as one: what went from one to the other neither left nor arrived.
//! - [`count`]: the return itself, line by line of species.
//!
//! Days are days of the site's time zone, and the books are read at the close of a day: an animal is on
//! them on day `d` if it came on or before `d` and had not gone by the end of `d`. One that comes and
//! goes on the same day stands in both columns and is never counted as present.
//!
//! The columns follow common practice (no source). The four things that records of a collection have to
//! tell, numbers, births with acquisitions, deaths with disposals and escapes, are those of the Zoo
//! Licensing Act 1981 s.1A(f) (UK SI 2002/3080 reg. 5). That deaths soon after birth stand apart from
//! other deaths is common practice; so is the limit of thirty days, which is why it is a value of the
//! [`Question`].

pub mod count;
pub mod moves;
pub mod stay;
#[cfg(test)]
mod tests;

pub use count::{Column, Entry, Line, Question, Return, Source, take};
pub use moves::ZONES_APART_DAYS;
pub use stay::{Began, Born, Change, Ended, Flaw, Flaws, Litter, Stay, Who};
