//! Kinship of all pairs of a group, with the lowest and the highest that fit what is not known.
//!
//! Row by row over the group and all its ancestors (Emik & Terrill 1949, J Hered 40:51). The bounds are worked
//! out by the same rows: a parent of which nothing is known is kin to nobody at least, and at most to everybody by
//! a half, which is the most that an animal that is not inbred can be; of several possible parents it is the
//! least and the most related one. The rule of bounds is Holt's own. They hold for each pair by itself: two
//! pairs may not reach theirs in one and the same history.

use super::assumption::Assumption;
use super::pedigree::{Kind, Nodes};
use super::relationship::{Figure, Relationships};
use serde::Serialize;

/// The most nodes that a table is made of: three numbers for each pair of them are 48 MB.
pub const MOST: usize = 2_000;

/// A figure with what it may be at least and at most.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bounded {
    /// The figure.
    pub figure: Figure,
    /// The lowest that fits.
    pub lowest: f64,
    /// The highest that fits.
    pub highest: f64,
}

/// Kinship of each with each.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    size: usize,
    cells: Vec<Bounded>,
    inbreeding: Vec<Bounded>,
}

/// Why there is no table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoTable {
    /// The animal in this place is not in the pedigree.
    #[error("the animal in place {0} is not in the pedigree")]
    NotInPedigree(usize),
    /// The group and its ancestors are more than [`MOST`].
    #[error("the group has {0} ancestors, which are more than {MOST}")]
    TooMany(usize),
}

impl Table {
    /// The table of a group, in the order given.
    ///
    /// # Errors
    /// Where one of them is not in the pedigree, or they have too many ancestors.
    pub fn of<A: Clone + Ord>(relationships: &Relationships<A>, group: &[A]) -> Result<Self, NoTable> {
        let all = &relationships.pedigree().nodes;
        let mut asked = Vec::with_capacity(group.len());
        for (n, animal) in group.iter().enumerate() {
            asked.push(*relationships.pedigree().places.get(animal).ok_or(NoTable::NotInPedigree(n))?);
        }
        let kept = with_ancestors(all, &asked);
        if kept.len() > MOST {
            return Err(NoTable::TooMany(kept.len()));
        }
        let rows = Rows::of(&all.only(&kept), relationships.assumption());
        let place = |at: usize| kept.binary_search(&at).unwrap_or_default();
        let bounded = |one: usize, other: usize| {
            let cell = rows.cell(place(one), place(other));
            Bounded {
                figure: relationships.figure(one, other, 2.0 * cell.value),
                lowest: cell.low,
                highest: cell.high,
            }
        };
        let inbreeding = |&at: &usize| {
            let own = bounded(at, at);
            let of = |kinship: f64| 2.0 * kinship - 1.0;
            let figure = relationships.inbreeding_at(at);
            Bounded { figure, lowest: of(own.lowest), highest: of(own.highest) }
        };
        Ok(Self {
            size: asked.len(),
            cells: asked
                .iter()
                .flat_map(|&one| asked.iter().map(move |&other| bounded(one, other)))
                .collect(),
            inbreeding: asked.iter().map(inbreeding).collect(),
        })
    }

    /// Kinship of the animals in two places of the group; of one with itself (1 + inbreeding) / 2. `None` outside
    /// the group.
    #[must_use]
    pub fn kinship(&self, one: usize, other: usize) -> Option<Bounded> {
        (one < self.size && other < self.size).then(|| self.cells[one * self.size + other])
    }

    /// Inbreeding of the animal in a place of the group. `None` outside it.
    #[must_use]
    pub fn inbreeding(&self, one: usize) -> Option<Bounded> {
        self.inbreeding.get(one).copied()
    }
}

/// These nodes and all that they come from, in order.
fn with_ancestors(nodes: &Nodes, of: &[usize]) -> Vec<usize> {
    let mut seen = std::collections::BTreeSet::new();
    let mut open = of.to_vec();
    while let Some(at) = open.pop() {
        if seen.insert(at) {
            open.extend(nodes.from(at).iter().map(|(from, _)| *from));
        }
    }
    seen.into_iter().collect()
}

#[derive(Clone, Copy)]
struct Cell {
    value: f64,
    low: f64,
    high: f64,
}

impl Cell {
    const fn sure(value: f64) -> Self {
        Self { value, low: value, high: value }
    }
}

/// The lower half of the table, row by row.
struct Rows(Vec<Cell>);

impl Rows {
    fn of(nodes: &Nodes, assumption: Assumption) -> Self {
        let assumed = assumption.relationship() / 2.0;
        let stranger = Cell { value: assumed, low: 0.0, high: 0.5 };
        let mut rows = Self(Vec::with_capacity(nodes.len() * (nodes.len() + 1) / 2));
        for at in 0..nodes.len() {
            for with in 0..at {
                let cell = match nodes.kind(at) {
                    Kind::Founder if nodes.kind(with) == Kind::Founder => Cell::sure(assumed),
                    // The later one is no ancestor of the earlier: so it is the other way round.
                    Kind::Founder => rows.mixed(nodes, with, at, stranger),
                    Kind::Young | Kind::OneOf => rows.mixed(nodes, at, with, stranger),
                };
                rows.0.push(cell);
            }
            rows.0.push(rows.itself(nodes, at, stranger));
        }
        rows
    }

    fn cell(&self, one: usize, other: usize) -> Cell {
        let (low, high) = (one.min(other), one.max(other));
        self.0[high * (high + 1) / 2 + low]
    }

    /// Kinship of a node with an earlier one, by what it comes from.
    fn mixed(&self, nodes: &Nodes, at: usize, with: usize, stranger: Cell) -> Cell {
        let parts = nodes.from(at).iter().map(|&(from, part)| (self.cell(from, with), part));
        join(nodes.kind(at), parts, nodes.unknown(at), stranger)
    }

    /// Kinship of a node with itself.
    fn itself(&self, nodes: &Nodes, at: usize, stranger: Cell) -> Cell {
        match (nodes.kind(at), nodes.from(at)) {
            (Kind::Founder, _) => Cell::sure(0.5),
            (Kind::Young, from) => {
                let parents =
                    if let [(sire, _), (dam, _)] = from { self.cell(*sire, *dam) } else { stranger };
                let own = |kinship: f64| f64::midpoint(1.0, kinship);
                Cell { value: own(parents.value), low: own(parents.low), high: own(parents.high) }
            }
            (Kind::OneOf, from) => {
                let parts = from.iter().map(|&(from, part)| (self.cell(from, from), part));
                join(Kind::OneOf, parts, nodes.unknown(at), Cell::sure(0.5))
            }
        }
    }
}

/// What parts of a node come to together: their mean; of several possible ones the least and the most, for it is
/// one of them.
fn join(kind: Kind, parts: impl Iterator<Item = (Cell, f64)>, unknown: f64, stranger: Cell) -> Cell {
    // What shares that were computed miss to 1 is rounding.
    let stranger = (unknown > 1e-9).then_some((stranger, unknown));
    let mut sum = Cell::sure(0.0);
    let mut bounds: Option<(f64, f64)> = None;
    for (cell, part) in parts.chain(stranger) {
        sum.value += part * cell.value;
        sum.low += part * cell.low;
        sum.high += part * cell.high;
        let (low, high) = bounds.unwrap_or((cell.low, cell.high));
        bounds = Some((low.min(cell.low), high.max(cell.high)));
    }
    match (kind, bounds) {
        (Kind::OneOf, Some((low, high))) => Cell { value: sum.value, low, high },
        _ => sum,
    }
}

#[cfg(test)]
#[path = "table_tests.rs"]
mod tests;
