//! What Holt computes from records: given data, every function here returns findings with their evidence.
//!
//! **The invariant of this package:** it is pure. It depends on nothing of Holt's own, opens no
//! database, speaks no transport, and is told the time as a value. The same input gives the same
//! output, byte for byte, on every machine.
//!
//! Rooms:
//! - [`seal`]: the hashing and the proofs of the sealed ledger.
//! - [`stats`]: textbook statistics, each with the source of its formula.
//! - [`terms`]: the plain words that all computations share (sex, counts, mass, day, interval, domain).

#![warn(missing_docs)]

pub mod seal;
pub mod stats;
pub mod terms;
