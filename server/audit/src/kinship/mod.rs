//! Kinship from pedigrees, with what is unknown told as unknown.
//!
//! - [`pedigree`]: who comes from whom, checked and put in order.
//! - [`relationship`]: inbreeding and kinship, for populations of any size.
//! - [`table`]: kinship within a group, with the lowest and the highest that fit what is unknown.
//! - [`population`]: mean kinship, gene diversity, founder genome equivalents.
//! - [`gene_drop`]: the same and what is left of each founder, by playing inheritance.
//! - [`effective_size`]: as how many animals that mate at random a population loses its diversity.
//! - [`doubts`]: parents that cannot be, by sex and dates.
//!
//! Kinship of two animals is the probability that a gene drawn from one and a gene drawn from the other
//! are copies of one ancestral gene; the inbreeding of a young is the kinship of its parents (Wright
//! 1922, Am Nat 56:330; Malécot 1948; Falconer & Mackay 1996, ch. 5).
//!
//! *Founders* are assumed to be unrelated and not inbred, or related as an [`Assumption`] says, and have to be
//! declared. An animal born in a
//! collection whose parents nobody knows is no founder: it may be related to anyone. What is computed
//! with such animals is a lower bound, and says so ([`relationship::Figure`]).

pub mod assumption;
pub mod doubts;
pub mod effective_size;
pub mod gene_drop;
pub mod pedigree;
pub mod population;
pub mod relationship;
pub mod table;
mod ways;

pub use assumption::Assumption;
pub use pedigree::{Candidates, Entry, Origin, Parent, Pedigree};
pub use relationship::{Figure, Relationships};
pub use table::{Bounded, Table};
