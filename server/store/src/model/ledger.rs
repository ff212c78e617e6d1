//! The sealed ledger: seals, what a check of it found, and proofs.

use chrono::{DateTime, Utc};
use holt_audit::seal::{Hash, Link};
use uuid::Uuid;

/// One way in which the records do not agree with the ledger, or the ledger not with its seals.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BreakKind {
    /// A row does not hold what was written.
    RowChanged,
    /// A row was superseded, revived or moved on without an entry.
    RowMoved,
    /// A row that was written is gone.
    RowRemoved,
    /// A row that no entry speaks of.
    RowSlippedIn,
    /// An entry does not hold what was written.
    EntryChanged,
    /// An entry that was written is gone.
    EntryRemoved,
    /// An entry without a leaf of the tree.
    EntrySlippedIn,
    /// Entries are gone from the tree with their leaves.
    LeavesRemoved,
    /// Sealed entries stand in another order than they were sealed in.
    LeavesReordered,
    /// The entries under a seal are not those that it was made over.
    RootDiffers,
    /// The tree of a site is not the one that was sealed.
    SiteRootDiffers,
    /// A seal does not hold what was written.
    SealChanged,
    /// A seal is gone.
    SealRemoved,
    /// The newest entries that a seal speaks of are gone.
    TailCut,
}

/// One break that was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Break {
    pub kind: BreakKind,
    /// The table, where it is about a row.
    pub table: &'static str,
    /// The key of the row.
    pub row: String,
    /// The entry that speaks of it, or that it is about.
    pub entry: Option<Uuid>,
    /// Where that entry stands in the tree, from 0.
    pub position: Option<u64>,
    /// The seal that it is about.
    pub seal: Option<u64>,
    /// What is wrong, for people.
    pub say: String,
}

/// What came of a check.
#[derive(Clone, Debug)]
pub struct Verified {
    /// Rows that were held against the ledger.
    pub rows: u64,
    /// Entries that were read, sealed or not.
    pub entries: u64,
    /// Of those, not sealed yet.
    pub unsealed: u64,
    /// The newest seal.
    pub newest: Link,
    /// What was found, in the order of the tree; the first of them only.
    pub breaks: Vec<Break>,
    /// How many there are in all.
    pub found: u64,
}

/// That a record is under a seal: all that is needed to see it without trusting anybody.
#[derive(Clone, Debug)]
pub struct Inclusion {
    pub table: &'static str,
    /// Key of the row.
    pub row: String,
    /// The row in canonical form: its SHA-256 stands in the entry.
    pub row_content: String,
    pub entry: Uuid,
    pub recorded_at: DateTime<Utc>,
    /// The entry in canonical form: a leaf of the tree.
    pub entry_content: String,
    pub position: u64,
    pub path: Vec<Hash>,
    pub link: Link,
}

/// That one seal continues another.
#[derive(Clone, Debug)]
pub struct Consistency {
    pub older: Link,
    pub newer: Link,
    pub path: Vec<Hash>,
}
