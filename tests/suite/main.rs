//! The tests that need a database: one binary, so that it is linked once and shares one cluster.

#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "a test waits for what it spawned by itself")]

mod cluster;
mod contract;
mod journeys;
