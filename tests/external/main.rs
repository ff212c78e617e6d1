//! Checks of `holt-audit` against numbers that others published. One file per source or subject;
//! the tables lie in `tables/`, each with a first line that names where it is from.

#![expect(clippy::unwrap_used, reason = "a check that cannot read its table must fail")]

mod agreement;
mod census;
mod control_charts;
mod diversity;
mod dominance;
mod energy;
mod exact;
mod expected;
mod growth;
mod pedigrees;
mod recurrences;
mod seal;
mod slopes;
mod state_space;
mod strd;
mod survival;
mod table;
mod temperature;
