//! The sealed ledger: Merkle hashing after RFC 6962, with proofs that an entry is in and that nothing
//! before was changed.
//!
//! - [`hash`]: the digest, of a leaf, of a node and of nothing.
//! - [`frontier`]: a tree that grows leaf by leaf in O(log n) memory.
//! - [`proof`]: inclusion and consistency, made and verified.
//! - [`chain`]: seals that name one another, and their form on paper.
//!
//! A root commits to its leaves but a proof does not commit to the *size* of the tree: a short path can
//! fit two sizes. Whoever stores or signs a root must store or sign its size with it ([`frontier::Seal`]).

pub mod chain;
pub mod frontier;
pub mod hash;
pub mod proof;

pub use chain::Link;
pub use frontier::{Frontier, Seal};
pub use hash::Hash;
