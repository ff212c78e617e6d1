//! The rows, held against what the entries say of them.

use super::Found;
use crate::doors::Snapshot;
use crate::error::Error;
use crate::ledger::{Entry, changing, digest};
use crate::model::ledger::{Break, BreakKind};
use crate::rows::{Row, columns, name};
use holt_audit::seal::Hash;
use serde_json::{Map, Value};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// The one row that no write left: Holt itself, who is there from the first migration on.
const ITSELF: (&str, Uuid) = ("people", Uuid::nil());

/// What the ledger says of one row.
#[derive(Default)]
struct Line {
    /// What it held when it was written.
    written: Option<Hash>,
    /// The entry that spoke of it first, and its place in the tree.
    entry: Option<(Uuid, Option<u64>)>,
    /// What its changing columns must hold.
    state: Map<String, Value>,
    /// Up to which version of the row that is said.
    version: i64,
    /// Whether it was written by an entry that concerns the asker.
    ours: bool,
}

/// What the entries say, table by table.
pub(super) struct Book<'s> {
    snapshot: &'s Snapshot,
    pub found: Found,
    lines: BTreeMap<String, HashMap<String, Line>>,
    rows: u64,
}

impl<'s> Book<'s> {
    pub(super) fn of(snapshot: &'s Snapshot, found: Found) -> Self {
        Self { snapshot, found, lines: BTreeMap::new(), rows: 0 }
    }

    /// Takes down what an entry says of rows.
    pub(super) fn take_down(&mut self, entry: &Entry, position: Option<u64>) {
        let ours = self.found.concerns(entry.site);
        for said in entry.lines.as_array().into_iter().flatten() {
            let (Some(table), Some(row)) = (said["table"].as_str(), said["row"].as_str()) else { continue };
            let lines = match self.lines.get_mut(table) {
                Some(lines) => lines,
                None => self.lines.entry(table.to_owned()).or_default(),
            };
            let line = lines.entry(row.to_owned()).or_default();
            line.entry.get_or_insert((entry.id, position));
            if let Some(digest) = said["sha256"].as_str().and_then(|digest| digest.parse().ok()) {
                line.written.get_or_insert(digest);
                line.ours |= ours;
            }
            for change in ["state", "change"].into_iter().filter_map(|part| said[part].as_object()) {
                line.change(change);
            }
        }
    }

    /// The number of rows that were seen and all that was found, what is gone included.
    pub(super) fn close(mut self) -> (u64, Found) {
        for (table, lines) in self.lines {
            // Only what no table has is still here.
            for (row, line) in lines.into_iter().filter(|(_, line)| line.ours) {
                let say = format!("an entry speaks of a row of `{table}`, and there is no such table");
                self.found.report(line.breaks(BreakKind::RowRemoved, "ledger", row, say));
            }
        }
        (self.rows, self.found)
    }
}

impl Line {
    /// Versions are counted up under a lock, so they tell the order; what has none changes once.
    fn change(&mut self, change: &Map<String, Value>) {
        let version = change.get("version").and_then(Value::as_i64).unwrap_or(0);
        if version < self.version {
            return;
        }
        self.version = version;
        for (column, value) in change {
            if value.is_null() {
                self.state.remove(column);
            } else {
                self.state.insert(column.clone(), value.clone());
            }
        }
    }

    fn breaks(&self, kind: BreakKind, table: &'static str, row: String, say: String) -> Break {
        let (entry, position) = self.entry.unzip();
        Break { kind, table, row, entry, position: position.flatten(), seal: None, say }
    }
}

/// Holds the rows of one table against the book.
pub(super) async fn hold<R: Row>(book: &mut Book<'_>) -> Result<(), Error> {
    let (table, columns) = (name::<R>(), columns::<R>());
    let mut lines = book.lines.remove(table).unwrap_or_default();
    let list = columns.join(", ");
    let (sql, values) = match book.found.site {
        None => (format!("SELECT {list} FROM public.{table}"), Vec::new()),
        Some(site) => {
            // What the site recorded, and what others recorded in writes of its own.
            let own = if columns.contains(&"site_id") { "site_id = $1 OR " } else { "" };
            let written = "request_id IN (SELECT request_id FROM ledger WHERE site_id = $1)";
            (format!("SELECT {list} FROM public.{table} WHERE {own}{written}"), vec![site.into()])
        }
    };
    let portions = book.snapshot.portions(table, &sql, values).await?;
    loop {
        let rows = portions.next::<R>().await?;
        if rows.is_empty() {
            break;
        }
        for row in rows {
            book.rows += 1;
            let key = row.key();
            let content = serde_json::to_value(&row)?;
            match lines.remove(&key) {
                Some(line) => line.judge(table, key, &content, &mut book.found),
                None if table == ITSELF.0 && key == ITSELF.1.to_string() => {}
                None => {
                    let say = format!("no entry speaks of this row of {table}");
                    book.found.report(Line::default().breaks(BreakKind::RowSlippedIn, table, key, say));
                }
            }
        }
    }
    let mut gone: Vec<(String, Line)> = lines.into_iter().filter(|(_, line)| line.ours).collect();
    gone.sort_by(|(a, _), (b, _)| a.cmp(b));
    for (key, line) in gone {
        let say = format!("a row of {table} that was written is gone");
        book.found.report(line.breaks(BreakKind::RowRemoved, table, key, say));
    }
    Ok(())
}

impl Line {
    fn judge(self, table: &'static str, key: String, content: &Value, found: &mut Found) {
        let state = changing(content);
        if self.written.is_some_and(|written| written != digest(content)) {
            let say = format!("a row of {table} does not hold what was written");
            found.report(self.breaks(BreakKind::RowChanged, table, key, say));
        } else if self.written.is_none() {
            let say = format!("no entry says that this row of {table} was written, only that it changed");
            found.report(self.breaks(BreakKind::RowSlippedIn, table, key, say));
        } else if state != self.state {
            let columns = state.keys().chain(self.state.keys());
            let mut differ: Vec<&str> = columns
                .filter(|name| state.get(*name) != self.state.get(*name))
                .map(String::as_str)
                .collect();
            differ.sort_unstable();
            differ.dedup();
            let say =
                format!("a row of {table} was moved on or back without an entry: {}", differ.join(", "));
            found.report(self.breaks(BreakKind::RowMoved, table, key, say));
        }
    }
}
