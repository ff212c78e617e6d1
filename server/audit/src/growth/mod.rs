//! The weight of the young.
//!
//! - [`Growth`]: logistic, Gompertz and von Bertalanffy curves; an adult mass only where the readings tell.
//! - [`siblings()`]: the young of one litter beside one another.
//! - [`of_kind`]: how the animals of a kind grow, from the history of a collection.
//! - [`SoundReference`], [`Lms`]: where a mass lies on the reference curve of its kind, if there is one.

mod band;
mod curve;
mod kind;
mod reference;
mod siblings;

pub use crate::stats::lms::Lms;
pub use band::Band;
pub use curve::{Growth, Shape};
pub use kind::{AgePoint, FEWEST, Kind, of_kind};
pub use reference::{AtAge, Reference, SoundReference};
pub use siblings::{Sibling, siblings};
