//! The Holt server: a gRPC service over PostgreSQL. The house, its arrows and doors are drawn in
//! `DEVELOPERS.md`.

pub mod access;
pub mod api;
pub mod app;
pub mod clock;
pub mod config;
pub mod demo;
pub mod jobs;
pub mod model;
pub mod records;
pub mod report;
pub mod store;

pub use holt_audit as audit;
