//! Proofs over a sealed tree: that an entry is in it, and that an older tree is its beginning.

use super::Hash;
use super::frontier::{Seal, root};

/// What was asked for does not lie in the tree.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the tree has {size} leaves; there is nothing to prove about {asked}")]
pub struct OutOfTree {
    /// The leaf or the older size asked for.
    pub asked: u64,
    /// Leaves in the tree.
    pub size: u64,
}

/// Why a proof does not hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Broken {
    /// The path has more or fewer hashes than a tree of that size needs.
    #[error("the path is too long or too short for a tree of this size")]
    Shape,
    /// The path leads to another root than the older seal.
    #[error("the path does not lead to the older root: entries before it were changed")]
    Older,
    /// The path leads to another root than the seal.
    #[error("the path does not lead to the root")]
    Root,
}

/// The path from the leaf at `index` (counted from 0) up to the root: `PATH(m, D[n])` of RFC 6962
/// section 2.1.1, nearest sibling first. Hashes all `leaves` once.
///
/// # Errors
/// There is no leaf at `index`.
pub fn inclusion(leaves: &[Hash], index: usize) -> Result<Vec<Hash>, OutOfTree> {
    if index >= leaves.len() {
        return Err(OutOfTree { asked: index as u64, size: leaves.len() as u64 });
    }
    let (mut within, mut index, mut path) = (leaves, index, Vec::new());
    while within.len() > 1 {
        let (left, right) = within.split_at(split(within.len()));
        if index < left.len() {
            path.push(root(right));
            within = left;
        } else {
            path.push(root(left));
            index -= left.len();
            within = right;
        }
    }
    path.reverse();
    Ok(path)
}

/// The path that shows that the tree over the first `older` leaves is the beginning of the tree over all
/// of them: `PROOF(m, D[n])` of RFC 6962 section 2.1.2. Empty where there is nothing to show: for the
/// empty tree and for the tree itself.
///
/// # Errors
/// The older tree has more leaves than there are.
pub fn consistency(leaves: &[Hash], older: usize) -> Result<Vec<Hash>, OutOfTree> {
    if older > leaves.len() {
        return Err(OutOfTree { asked: older as u64, size: leaves.len() as u64 });
    }
    if older == 0 {
        return Ok(Vec::new());
    }
    let (mut within, mut older, mut path) = (leaves, older, Vec::new());
    // Whether what remains of the older tree is that tree itself, whose root the verifier holds already.
    let mut known = true;
    while older < within.len() {
        let (left, right) = within.split_at(split(within.len()));
        if older <= left.len() {
            path.push(root(right));
            within = left;
        } else {
            path.push(root(left));
            older -= left.len();
            within = right;
            known = false;
        }
    }
    if !known {
        path.push(root(within));
    }
    path.reverse();
    Ok(path)
}

/// Verifies that `leaf` stands at `index` under `seal`, by RFC 9162 section 2.1.3.2.
///
/// # Errors
/// Says whether the path has the wrong shape or leads elsewhere.
pub fn verify_inclusion(leaf: Hash, index: u64, seal: Seal, path: &[Hash]) -> Result<(), Broken> {
    if index >= seal.size {
        return Err(Broken::Shape);
    }
    let mut at = Position { node: index, last: seal.size - 1 };
    let mut reached = leaf;
    for &sibling in path {
        reached = match at.climb()? {
            Side::Left => Hash::of_node(sibling, reached),
            Side::Right => Hash::of_node(reached, sibling),
        };
    }
    if at.last != 0 {
        return Err(Broken::Shape);
    }
    if reached == seal.root { Ok(()) } else { Err(Broken::Root) }
}

/// Verifies that the tree under `older` is the beginning of the tree under `newer`, by RFC 9162
/// section 2.1.4.2; the two cases that section leaves out are settled thus: every tree continues the
/// empty one, and a tree continues itself, both shown by an empty path.
///
/// # Errors
/// Says whether the path has the wrong shape, or which of the two roots it misses.
pub fn verify_consistency(older: Seal, newer: Seal, path: &[Hash]) -> Result<(), Broken> {
    if older.size == 0 || older.size == newer.size {
        let expected = if older.size == newer.size { newer.root } else { Hash::of_nothing() };
        return match path {
            [] if older.root == expected => Ok(()),
            [] => Err(Broken::Older),
            _ => Err(Broken::Shape),
        };
    }
    if older.size > newer.size {
        return Err(Broken::Shape);
    }
    let mut at = Position { node: older.size - 1, last: newer.size - 1 };
    at.skip(at.node.trailing_ones());
    let (start, rest) = if older.size.is_power_of_two() {
        (older.root, path)
    } else {
        let (&first, rest) = path.split_first().ok_or(Broken::Shape)?;
        (first, rest)
    };
    let (mut reached_older, mut reached_newer) = (start, start);
    for &sibling in rest {
        match at.climb()? {
            Side::Left => {
                reached_older = Hash::of_node(sibling, reached_older);
                reached_newer = Hash::of_node(sibling, reached_newer);
            }
            Side::Right => reached_newer = Hash::of_node(reached_newer, sibling),
        }
    }
    if at.last != 0 {
        return Err(Broken::Shape);
    }
    if reached_older != older.root {
        return Err(Broken::Older);
    }
    if reached_newer == newer.root { Ok(()) } else { Err(Broken::Root) }
}

/// The largest power of two below `len`, where RFC 6962 splits a tree.
fn split(len: usize) -> usize {
    len.next_power_of_two() / 2
}

/// On which side of the path its next sibling lies.
enum Side {
    Left,
    Right,
}

/// Where a path stands: a node and the last node, both counted from 0 on their level.
struct Position {
    node: u64,
    last: u64,
}

impl Position {
    fn skip(&mut self, levels: u32) {
        self.node >>= levels;
        self.last >>= levels;
    }

    /// One sibling up.
    fn climb(&mut self) -> Result<Side, Broken> {
        if self.last == 0 {
            return Err(Broken::Shape);
        }
        let side = if self.node % 2 == 1 || self.node == self.last { Side::Left } else { Side::Right };
        if matches!(side, Side::Left) && self.node != 0 {
            // A last node without sibling is carried up unhashed to the level where it has one.
            self.skip(self.node.trailing_zeros());
        }
        self.skip(1);
        Ok(side)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn leaves(n: usize) -> Vec<Hash> {
        (0..n).map(|i| Hash::of_leaf(i.to_string().as_bytes())).collect()
    }

    fn seal(leaves: &[Hash]) -> Seal {
        Seal { size: leaves.len() as u64, root: root(leaves) }
    }

    fn flipped(hash: Hash, bit: usize) -> Hash {
        let mut bytes = *hash.as_bytes();
        bytes[bit / 8] ^= 1 << (bit % 8);
        Hash::from_bytes(bytes)
    }

    #[test]
    fn every_entry_of_every_small_tree_is_proved_and_no_other() {
        for n in 1..=40 {
            let leaves = leaves(n);
            for index in 0..n {
                let path = inclusion(&leaves, index).unwrap();
                assert_eq!(verify_inclusion(leaves[index], index as u64, seal(&leaves), &path), Ok(()));
                for other in (0..=n).filter(|&other| other != index) {
                    assert!(
                        verify_inclusion(leaves[index], other as u64, seal(&leaves), &path).is_err(),
                        "leaf {index} of {n} passed for {other}"
                    );
                }
                let longer = [path.as_slice(), &[leaves[0]]].concat();
                assert_eq!(
                    verify_inclusion(leaves[index], index as u64, seal(&leaves), &longer),
                    Err(Broken::Shape)
                );
                if let Some((_, shorter)) = path.split_last() {
                    assert_eq!(
                        verify_inclusion(leaves[index], index as u64, seal(&leaves), shorter),
                        Err(Broken::Shape)
                    );
                }
            }
        }
    }

    #[test]
    fn every_small_tree_is_shown_to_continue_every_smaller_one() {
        for n in 0..=40 {
            let leaves = leaves(n);
            for m in 0..=n {
                let (older, newer) = (seal(&leaves[..m]), seal(&leaves));
                let path = consistency(&leaves, m).unwrap();
                assert_eq!(verify_consistency(older, newer, &path), Ok(()), "{m} → {n}");
                let longer = [path.as_slice(), &[newer.root]].concat();
                assert_eq!(verify_consistency(older, newer, &longer), Err(Broken::Shape), "{m} → {n}");
                if let Some((_, shorter)) = path.split_last() {
                    assert_eq!(verify_consistency(older, newer, shorter), Err(Broken::Shape), "{m} → {n}");
                }
                if m != n {
                    assert!(verify_consistency(newer, older, &path).is_err(), "{n} shrank to {m}");
                }
            }
        }
    }

    #[test]
    fn a_rewritten_entry_is_told_apart_from_a_damaged_proof() {
        let honest = leaves(6);
        let mut rewritten = honest.clone();
        rewritten[2] = Hash::of_leaf(b"forged");
        let path = consistency(&rewritten, 4).unwrap();
        // The forger's path starts from the older root it was given, so the newer root exposes it …
        assert_eq!(verify_consistency(seal(&honest[..4]), seal(&rewritten), &path), Err(Broken::Root));
        // … and where the older size is no power of two, the older root does.
        let path = consistency(&rewritten, 5).unwrap();
        assert_eq!(verify_consistency(seal(&honest[..5]), seal(&rewritten), &path), Err(Broken::Older));
    }

    #[test]
    fn what_is_not_in_the_tree_cannot_be_proved() {
        assert_eq!(inclusion(&leaves(3), 3), Err(OutOfTree { asked: 3, size: 3 }));
        assert_eq!(inclusion(&[], 0), Err(OutOfTree { asked: 0, size: 0 }));
        assert_eq!(consistency(&leaves(3), 4), Err(OutOfTree { asked: 4, size: 3 }));
    }

    proptest! {
        #[test]
        fn one_flipped_bit_anywhere_breaks_an_inclusion(n in 1_usize..200, index in any::<prop::sample::Index>(), at in any::<prop::sample::Index>(), bit in 0_usize..256) {
            let leaves = leaves(n);
            let index = index.index(n);
            let path = inclusion(&leaves, index).unwrap();
            let (mut leaf, mut seal, mut changed) = (leaves[index], seal(&leaves), path.clone());
            match at.index(path.len() + 2) {
                0 => leaf = flipped(leaf, bit),
                1 => seal.root = flipped(seal.root, bit),
                step => changed[step - 2] = flipped(changed[step - 2], bit),
            }
            prop_assert_eq!(verify_inclusion(leaf, index as u64, seal, &changed), Err(Broken::Root));
        }

        #[test]
        fn one_flipped_bit_anywhere_breaks_a_consistency(n in 2_usize..200, m in any::<prop::sample::Index>(), at in any::<prop::sample::Index>(), bit in 0_usize..256) {
            let leaves = leaves(n);
            let m = 1 + m.index(n - 1);
            let path = consistency(&leaves, m).unwrap();
            let (mut older, mut newer, mut changed) = (seal(&leaves[..m]), seal(&leaves), path.clone());
            match at.index(path.len() + 2) {
                0 => older.root = flipped(older.root, bit),
                1 => newer.root = flipped(newer.root, bit),
                step => changed[step - 2] = flipped(changed[step - 2], bit),
            }
            prop_assert!(verify_consistency(older, newer, &changed).is_err());
        }
    }
}
