//! Merkle hashing and proofs against the reference vectors of RFC 6962 hashing.
//!
//! Sources, by table:
//! - `rfc6962_*`: the eight-leaf vectors of the certificate-transparency reference implementations, as
//!   carried by github.com/transparency-dev/merkle, `testonly/constants.go` (leaves, roots, subtrees)
//!   and `testonly/reference_test.go` (paths). Roots recomputed with Python 3.11 hashlib: they agree.
//! - `merkle_hashlib`: derived here from the recursive definition with Python 3.11 hashlib; the leaves
//!   are the decimal digits of 0, 1, 2, …

use crate::table;
use holt_audit::seal::frontier::{Frontier, Seal, root};
use holt_audit::seal::{Hash, proof};

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|i| u8::from_str_radix(&text[i..i + 2], 16).unwrap()).collect()
}

fn reference_leaves() -> Vec<Hash> {
    table::read("rfc6962_leaves").rows().map(|row| Hash::of_leaf(&unhex(row.text("leaf")))).collect()
}

fn path(text: &str) -> Vec<Hash> {
    text.split_whitespace().map(|hash| hash.parse().unwrap()).collect()
}

fn whole(text: &str) -> usize {
    text.parse().unwrap()
}

#[test]
fn leaf_hashes_and_roots_of_the_reference_tree() {
    let leaves = reference_leaves();
    assert_eq!(leaves.len(), 8);
    let mut tree = Frontier::new();
    for row in table::read("rfc6962_roots").rows() {
        let size = whole(row.text("size"));
        assert_eq!(root(&leaves[..size]).to_string(), row.text("root"), "{size} leaves at once");
        assert_eq!(tree.seal().root.to_string(), row.text("root"), "grown to {size} leaves");
        assert_eq!(tree.peaks(), path(row.text("subtrees")), "complete subtrees of {size} leaves");
        if let Some(&next) = leaves.get(size) {
            tree.push(next);
        }
    }
    assert_eq!(tree.size(), 8);
}

#[test]
fn paths_of_the_reference_tree() {
    let leaves = reference_leaves();
    let seal = |size: usize| Seal { size: size as u64, root: root(&leaves[..size]) };
    for row in table::read("rfc6962_paths").rows() {
        let (from, size) = (whole(row.text("from")), whole(row.text("size")));
        let published = path(row.text("path"));
        match row.text("kind") {
            "inclusion" => {
                assert_eq!(proof::inclusion(&leaves[..size], from).unwrap(), published);
                proof::verify_inclusion(leaves[from], from as u64, seal(size), &published).unwrap();
            }
            "consistency" => {
                assert_eq!(proof::consistency(&leaves[..size], from).unwrap(), published);
                proof::verify_consistency(seal(from), seal(size), &published).unwrap();
            }
            other => panic!("{other}?"),
        }
    }
}

#[test]
fn roots_of_larger_trees_by_another_implementation() {
    let mut tree = Frontier::new();
    for row in table::read("merkle_hashlib").rows() {
        let size: u64 = row.text("size").parse().unwrap();
        tree.extend((tree.size()..size).map(|i| Hash::of_leaf(i.to_string().as_bytes())));
        assert_eq!(tree.seal().root.to_string(), row.text("root"), "{size} leaves");
    }
}
