//! What the tests of Holt share: a cluster per run, a database and a server per test, scripted time and
//! identifiers, and a cast of people and animals.

#![expect(clippy::unwrap_used, reason = "where the harness cannot go on, the test fails")]
#![expect(clippy::disallowed_methods, reason = "a test stops the server that it spawned by itself")]

pub mod cast;
pub mod clock;
pub mod cluster;
pub mod desk;
pub mod house;
mod pooler;
pub mod refusal;
pub mod tap;

pub use cast::{Park, Person};
pub use clock::{TestClock, TestIds};
pub use desk::{Desk, Ran};
pub use house::House;
pub use refusal::reason;
pub use tap::Tap;
