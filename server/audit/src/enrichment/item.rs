//! What can be offered, to whom, and what has been.

use crate::terms::Day;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// What an item appeals to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Food, or food that has to be found or got at.
    Food,
    /// Things to smell, hear, see or feel.
    Sensory,
    /// Things to climb, dig, hide in or live on.
    Structural,
    /// Company.
    Social,
    /// Problems to solve.
    Cognitive,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Self; 5] = [Self::Food, Self::Sensory, Self::Structural, Self::Social, Self::Cognitive];
}

/// Something that can be offered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item<I, S> {
    /// Which.
    pub item: I,
    /// What it appeals to.
    pub kind: Kind,
    /// Minutes that one offering takes of staff.
    pub minutes: u32,
    /// What can go wrong with it (`loose-cord`, `glass`, …), as the site names it.
    pub hazards: BTreeSet<String>,
    /// Species that it is not for.
    pub not_for: BTreeSet<S>,
    /// Energy that one offering gives, in kcal.
    pub kcal: u32,
    /// Days that must lie between two offerings to one group: 0 is once a day, 1 every other day.
    pub rest_days: u32,
}

/// Animals that are offered things together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group<G, S> {
    /// Which.
    pub group: G,
    /// Species among them.
    pub species: BTreeSet<S>,
    /// Hazards that are not taken with them.
    pub refuses: BTreeSet<String>,
    /// Energy that enrichment may give on one day, in kcal: a part of the daily ration.
    pub kcal: u32,
    /// How many things they are offered a day.
    pub offers_a_day: u32,
}

/// An item that was offered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offer<G, I> {
    /// To whom.
    pub group: G,
    /// What.
    pub item: I,
    /// When.
    pub day: Day,
    /// Whether any of them used it; nothing where nobody looked.
    pub used: Option<bool>,
}

impl<I, S: Ord> Item<I, S> {
    /// Whether it may be offered to the group at all.
    #[must_use]
    pub fn suits<G>(&self, group: &Group<G, S>) -> bool {
        self.hazards.is_disjoint(&group.refuses)
            && self.not_for.is_disjoint(&group.species)
            && self.kcal <= group.kcal
    }
}
