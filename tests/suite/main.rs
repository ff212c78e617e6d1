//! The tests that need a database: one binary, so that it is linked once and shares one cluster.

mod cluster;
mod contract;
mod journeys;
