//! A tree that grows leaf by leaf and remembers only the roots of its complete subtrees.

use super::Hash;
use serde::{Deserialize, Serialize};

/// What is published of a tree: its root together with the number of leaves under it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seal {
    /// Leaves sealed so far.
    pub size: u64,
    /// Merkle tree hash over them (RFC 6962 section 2.1).
    pub root: Hash,
}

/// The right edge of a growing tree: one hash per set bit of its size, widest subtree first. Sealing one
/// more leaf costs O(1) hashes on average and O(log n) memory; the leaves before need not be read again.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Frontier {
    size: u64,
    peaks: Vec<Hash>,
}

/// The hashes do not belong to a tree of that size.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a tree of {size} leaves has {} complete subtrees, but {peaks} hashes were given", size.count_ones())]
pub struct NotAFrontier {
    size: u64,
    peaks: usize,
}

impl Frontier {
    /// The tree without leaves.
    #[must_use]
    pub const fn new() -> Self {
        Self { size: 0, peaks: Vec::new() }
    }

    /// Takes up a tree again from what [`size`](Self::size) and [`peaks`](Self::peaks) gave.
    ///
    /// # Errors
    /// The number of peaks does not fit the size.
    pub fn resume(size: u64, peaks: Vec<Hash>) -> Result<Self, NotAFrontier> {
        if peaks.len() != size.count_ones() as usize {
            return Err(NotAFrontier { size, peaks: peaks.len() });
        }
        Ok(Self { size, peaks })
    }

    /// Seals one more leaf, given by its hash ([`Hash::of_leaf`]).
    pub fn push(&mut self, leaf: Hash) {
        // Each trailing one of the size is a complete subtree as wide as what is carried.
        let carried = (0..self.size.trailing_ones())
            .fold(leaf, |right, _| self.peaks.pop().map_or(right, |left| Hash::of_node(left, right)));
        self.peaks.push(carried);
        self.size += 1;
    }

    /// Leaves sealed so far.
    #[must_use]
    pub const fn size(&self) -> u64 {
        self.size
    }

    /// Roots of the complete subtrees, widest first.
    #[must_use]
    pub fn peaks(&self) -> &[Hash] {
        &self.peaks
    }

    /// Root and size of the tree as it stands.
    #[must_use]
    pub fn seal(&self) -> Seal {
        let root = self.peaks.iter().copied().rev().reduce(|right, left| Hash::of_node(left, right));
        Seal { size: self.size, root: root.unwrap_or_else(Hash::of_nothing) }
    }
}

impl Extend<Hash> for Frontier {
    fn extend<I: IntoIterator<Item = Hash>>(&mut self, leaves: I) {
        leaves.into_iter().for_each(|leaf| self.push(leaf));
    }
}

/// The root over all `leaves` at once (RFC 6962 section 2.1).
#[must_use]
pub fn root(leaves: &[Hash]) -> Hash {
    let mut tree = Frontier::new();
    tree.extend(leaves.iter().copied());
    tree.seal().root
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The recursive definition of RFC 6962 section 2.1, to hold the incremental tree against.
    fn by_definition(leaves: &[Hash]) -> Hash {
        match leaves {
            [] => Hash::of_nothing(),
            [only] => *only,
            _ => {
                let split = leaves.len().next_power_of_two() / 2;
                Hash::of_node(by_definition(&leaves[..split]), by_definition(&leaves[split..]))
            }
        }
    }

    proptest! {
        #[test]
        fn growing_gives_the_root_of_the_definition(entries in prop::collection::vec(any::<u64>(), 0..300), stop in 0_usize..300) {
            let leaves: Vec<Hash> = entries.iter().map(|e| Hash::of_leaf(&e.to_be_bytes())).collect();
            let stop = stop.min(leaves.len());
            let mut tree = Frontier::new();
            tree.extend(leaves[..stop].iter().copied());
            prop_assert_eq!(tree.seal().root, by_definition(&leaves[..stop]));

            let mut resumed = Frontier::resume(tree.size(), tree.peaks().to_vec()).unwrap();
            resumed.extend(leaves[stop..].iter().copied());
            prop_assert_eq!(resumed.seal(), Seal { size: leaves.len() as u64, root: by_definition(&leaves) });
        }
    }

    #[test]
    fn a_frontier_of_another_size_is_refused() {
        let one = vec![Hash::of_leaf(b"a")];
        assert!(Frontier::resume(4, one.clone()).is_ok());
        let refused = Frontier::resume(5, one).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "a tree of 5 leaves has 2 complete subtrees, but 1 hashes were given"
        );
    }
}
