//! The store: the only crate that says `sea_orm` or SQL, with the model that it speaks in and the access that
//! opens it. Everything goes in and out by two doors, [`Store::read`] and [`Store::write`], which set the scope
//! for row-level security; a statement outside them sees nothing.
//!
//! One file per concept holds that concept's queries, in model types, as functions of a [`Snapshot`]
//! (reading) or a [`Tx`] (writing).

pub mod access;
pub mod accessions;
pub mod amendments;
pub mod animals;
pub mod assessments;
pub mod census;
pub mod checks;
pub mod climate;
pub mod clock;
pub mod cluster;
pub mod concerns;
mod connect;
pub mod corrections;
pub mod crate_readings;
pub mod deaths;
pub mod documents;
mod doors;
pub mod encounters;
pub mod enrichment;
pub mod entity;
mod error;
pub mod evidence;
pub mod exchange;
pub mod expected;
pub mod facts;
pub mod feeding;
mod filter;
pub mod find;
pub mod groups;
pub mod growth;
pub mod history;
pub mod holdings;
pub mod kept;
pub mod kinship;
pub mod ledger;
mod legible;
pub mod life_states;
pub mod litters;
pub mod loans;
mod login;
pub mod marks;
pub mod merges;
pub mod mistakes;
pub mod model;
pub mod papers;
pub mod partners;
pub mod people;
pub mod placements;
pub mod proposals;
mod rows;
pub mod seals;
pub mod secret;
pub mod sites;
mod tables;
pub mod taxa;
pub mod titles;
pub mod traits;
pub mod transfers;
mod turns;
pub mod upsets;
pub mod verify;
pub mod watches;
pub mod weights;

pub use connect::{ConnectError, Limits, connect, migrate};
pub use doors::{Attempt, Raced, Snapshot, Store, Tx, retrying};
pub use error::{Constraint, Error, REFUSALS};
pub use login::{Login, Serving, admit, make_login};
