//! The Holt server: a gRPC service over PostgreSQL. The house, its arrows and doors are drawn in
//! `DEVELOPERS.md`.

pub mod api;
pub mod app;
pub mod config;
pub mod demo;
pub mod jobs;
pub mod records;
pub mod report;
pub mod wire;

pub use holt_audit as audit;
pub use holt_store as store;
pub use holt_store::{access, clock, model};
