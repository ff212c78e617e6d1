//! What an animal is expected to weigh.

mod animal;
mod curve;
mod gaussian;
mod herd;
mod noise;
mod onsets;
mod rate;
mod shared;
mod stage;

pub use herd::{Herd, Judged, Kind, Loss, Weighing};
pub use onsets::Course;

