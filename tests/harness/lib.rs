//! What the tests of Holt share: a cluster per run, a database and a server per test, scripted time and
//! identifiers, and a cast of people and animals.

pub mod cast;
pub mod clock;
pub mod cluster;
pub mod house;

pub use cast::{Park, Person};
pub use clock::{TestClock, TestIds};
pub use house::{House, reason};
