//! Welfare assessments in the Five Domains: protocols as data, and what an assessment by one of them says.
//!
//! - [`protocol`]: what a protocol is, as a file states it.
//! - [`validate`]: whether it can be used, with what to mend if not.
//! - [`grade`]: from raw scores to two grades per domain.
//! - [`mental`]: the fifth domain, inferred from the other four.
//! - [`course`]: how the grades went over the assessments of one animal.
//!
//! The model is that of Mellor et al. 2020 (Animals 10:1870): four domains are observed, and what they
//! make the animal feel, the fifth, is inferred. The grades are after Mellor & Beausoleil 2015 (Animal
//! Welfare 24:241): two scales that differ on purpose, how bad (A none to E very severe) and how good
//! (0, +, ++, +++). Neither source sums or averages grades over domains, and nothing here does: a bad
//! domain stays visible however good the others are. There is no overall number.

pub mod course;
pub mod grade;
pub mod mental;
pub mod protocol;
#[cfg(test)]
mod tests;
pub mod validate;

pub use grade::{Confidence, DomainGrade, Graded, Judged, Raw, Score};
pub use protocol::{Compromise, Enhancement, Protocol};
pub use validate::{Flaw, Sound};
