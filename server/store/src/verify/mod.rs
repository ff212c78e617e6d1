//! Holds the records against the ledger, and the ledger against its seals.
//!
//! Everything is read in one snapshot: the seals ([`tree`] grows the tree again under them), the entries in
//! their order, and each table row by row ([`rows`]). What is kept meanwhile is one line for each row that
//! was ever written.

mod rows;
mod tree;

use crate::doors::Snapshot;
use crate::error::Error;
use crate::ledger::Entry;
use crate::model::ledger::{Break, BreakKind, Verified};
use crate::seals::{self, SealRow, count, hash};
use crate::tables::every_table;
use chrono::{DateTime, Utc};
use rows::{Book, hold};
use sea_orm::FromQueryResult;
use serde_json::Value;
use tree::Tree;
use uuid::Uuid;

/// Breaks that are told one by one; of the rest, how many there are.
const TOLD: usize = 1000;

/// What was found so far.
#[derive(Default)]
struct Found {
    /// Only what concerns this site.
    site: Option<Uuid>,
    breaks: Vec<Break>,
    count: u64,
}

impl Found {
    fn concerns(&self, site: Option<Uuid>) -> bool {
        self.site.is_none() || self.site == site
    }

    fn report(&mut self, what: Break) {
        self.count += 1;
        if self.breaks.len() < TOLD {
            self.breaks.push(what);
        }
    }

    fn about_seal(&mut self, kind: BreakKind, seal: u64, say: String) {
        let row = seal.to_string();
        self.report(Break { kind, table: "seals", row, entry: None, position: None, seal: Some(seal), say });
    }

    fn about_entry(&mut self, kind: BreakKind, entry: Uuid, position: Option<u64>, say: &str) {
        let (row, say) = (entry.to_string(), say.to_owned());
        self.report(Break { kind, table: "ledger", row, entry: Some(entry), position, seal: None, say });
    }
}

/// Checks everything, or what concerns one site: its entries, the rows that it recorded, and the seals,
/// which are of all.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn verify(snapshot: &Snapshot, site: Option<Uuid>) -> Result<Verified, Error> {
    let mut found = Found { site, ..Found::default() };
    let seals = seals::all(snapshot).await?;
    let newest = seals.last().map(SealRow::link).transpose()?;
    let newest = newest.ok_or_else(|| Error::corrupt("seals", "sequence", "there is no seal"))?;
    tree::chain(&seals, &mut found)?;
    let mut tree = Tree::under(&seals, seals::of_sites(snapshot).await?)?;
    let mut book = Book::of(snapshot, found);
    let (entries, unsealed) = read_entries(snapshot, &mut tree, &mut book).await?;
    tree.rest(&mut book.found);
    every_table!(hold(&mut book));
    let (rows, found) = book.close();
    Ok(Verified { rows, entries, unsealed, newest, breaks: found.breaks, found: found.count })
}

/// An entry with its leaf; either may be gone.
#[derive(FromQueryResult)]
struct Pair {
    id: Option<Uuid>,
    site_id: Option<Uuid>,
    person_id: Option<Uuid>,
    request_id: Option<Uuid>,
    method: Option<String>,
    recorded_at: Option<DateTime<Utc>>,
    lines: Option<Value>,
    entry_id: Option<Uuid>,
    leaf: Option<Vec<u8>>,
    leaf_site: Option<Uuid>,
    leaf_at: Option<DateTime<Utc>>,
    position: Option<i64>,
}

impl Pair {
    fn entry(&mut self) -> Option<Entry> {
        Some(Entry {
            id: self.id?,
            site: self.site_id,
            person: self.person_id?,
            request: self.request_id?,
            method: self.method.take()?,
            at: self.recorded_at?,
            lines: self.lines.take()?,
        })
    }

    fn leaf(&self) -> Result<Option<tree::Leaf>, Error> {
        let (Some(entry), Some(leaf), Some(at)) = (self.entry_id, &self.leaf, self.leaf_at) else {
            return Ok(None);
        };
        Ok(Some(tree::Leaf { entry, at, site: self.leaf_site, hash: hash(leaf, "leaf")? }))
    }
}

/// Reads all entries in the order of the tree: grows the tree, and takes down what they say. Answers how
/// many there are, and how many of them wait for a seal.
async fn read_entries(
    snapshot: &Snapshot,
    tree: &mut Tree,
    book: &mut Book<'_>,
) -> Result<(u64, u64), Error> {
    let sql = "SELECT l.id, l.site_id, l.person_id, l.request_id, l.method, l.recorded_at, l.lines,
                v.entry_id, v.leaf, v.site_id AS leaf_site, v.recorded_at AS leaf_at, v.position
           FROM leaves v FULL JOIN ledger l ON l.id = v.entry_id
          ORDER BY v.position NULLS LAST, l.recorded_at, l.id";
    let portions = snapshot.portions("ledger", sql, []).await?;
    let (mut entries, mut unsealed) = (0, 0);
    loop {
        let pairs = portions.next::<Pair>().await?;
        if pairs.is_empty() {
            return Ok((entries, unsealed));
        }
        for mut pair in pairs {
            let position = pair.position.map(|place| count(place, "position")).transpose()?;
            let leaf = pair.leaf()?;
            if let Some((leaf, position)) = leaf.as_ref().zip(position) {
                tree.grow(leaf, position, &mut book.found);
            }
            match (pair.entry(), leaf) {
                (Some(entry), leaf) => {
                    entries += 1;
                    unsealed += u64::from(position.is_none());
                    if book.found.concerns(entry.site) {
                        judge(&entry, leaf.as_ref(), position, &mut book.found);
                    }
                    book.take_down(&entry, position);
                }
                (None, Some(leaf)) if book.found.concerns(leaf.site) => {
                    let say = "the entry is gone; its leaf is still there";
                    book.found.about_entry(BreakKind::EntryRemoved, leaf.entry, position, say);
                }
                (None, _) => {}
            }
        }
    }
}

fn judge(entry: &Entry, leaf: Option<&tree::Leaf>, position: Option<u64>, found: &mut Found) {
    match leaf {
        None => {
            let say = "no write left this entry: it has no leaf";
            found.about_entry(BreakKind::EntrySlippedIn, entry.id, None, say);
        }
        Some(leaf) if leaf.hash != entry.leaf() => {
            let say = "the entry does not say what it said when it was written: it does not hash to its leaf";
            found.about_entry(BreakKind::EntryChanged, entry.id, position, say);
        }
        Some(_) => {}
    }
}
