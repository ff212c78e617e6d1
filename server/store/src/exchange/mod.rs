//! Whole lives: read as one site has them, and written all at once.

mod known;
mod read;
mod write;

pub use known::{Bearer, Known, bearers, known};
pub use read::lives;
pub use write::{End, NewLife, Residence, Wear, insert};
