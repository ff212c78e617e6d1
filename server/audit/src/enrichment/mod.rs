//! Things to do and to find out: a week's rota that stays varied, and whether what is offered is used.
//!
//! - [`item`]: what can be offered, and to whom.
//! - [`plan`]: the rota.
//! - [`wear`]: how interest wears off.
//!
//! Kinds of enrichment, that offered is not used, and that things should rotate are common practice (no
//! source).

pub mod item;
pub mod plan;
pub mod wear;

pub use item::{Group, Item, Kind, Offer};
