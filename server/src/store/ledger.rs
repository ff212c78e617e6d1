//! Ledger entries: one per write, saying row by row what was written.

use crate::model::request::Request;
use chrono::{DateTime, SecondsFormat, Utc};
use holt_audit::seal::Hash;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// Columns that may change after a row was written: they are no part of what its line vouches for. What
/// changes them leaves a line of its own.
const MUTABLE: [&str; 6] =
    ["superseded_at", "superseded_in", "superseded_why", "state", "version", "withheld_by"];

/// One row that was written, or one change of a row's mutable columns.
pub(super) fn line(table: &str, key: &str, row: &Value) -> Value {
    json!({ "table": table, "row": key, "sha256": digest(row) })
}

/// SHA-256, in hex, of a row's content in canonical form, without the columns that may change.
fn digest(row: &Value) -> String {
    let mut text = String::new();
    match row {
        Value::Object(columns) => {
            object(columns.iter().filter(|(name, _)| !MUTABLE.contains(&name.as_str())), &mut text);
        }
        other => write_canonical(other, &mut text),
    }
    hex(&Sha256::digest(text))
}

/// JSON with the keys of every object in order and no white space, whatever order the parser keeps.
fn write_canonical(value: &Value, text: &mut String) {
    match value {
        Value::Object(members) => object(members.iter(), text),
        Value::Array(items) => {
            text.push('[');
            for (n, item) in items.iter().enumerate() {
                if n > 0 {
                    text.push(',');
                }
                write_canonical(item, text);
            }
            text.push(']');
        }
        scalar => text.push_str(&scalar.to_string()),
    }
}

fn object<'a>(members: impl Iterator<Item = (&'a String, &'a Value)>, text: &mut String) {
    let mut members: Vec<_> = members.collect();
    members.sort_unstable_by_key(|(name, _)| *name);
    text.push('{');
    for (n, (name, value)) in members.into_iter().enumerate() {
        if n > 0 {
            text.push(',');
        }
        text.push_str(&Value::from(name.as_str()).to_string());
        text.push(':');
        write_canonical(value, text);
    }
    text.push('}');
}

/// A change of a row's mutable columns.
pub(super) fn change(table: &str, key: &str, columns: &Value) -> Value {
    json!({ "table": table, "row": key, "change": columns })
}

/// An entry, ready to be written.
pub(super) struct Entry {
    pub id: Uuid,
    pub lines: Value,
    pub leaf: [u8; 32],
}

/// Makes the entry of a write. Its leaf is the RFC 6962 leaf hash of the entry in canonical form.
pub(super) fn entry(
    id: Uuid,
    site: Option<Uuid>,
    person: Uuid,
    request: &Request,
    at: DateTime<Utc>,
    lines: Vec<Value>,
) -> Entry {
    let lines = Value::Array(lines);
    let content = json!({
        "id": id,
        "lines": lines,
        "method": request.method,
        "person": person,
        "recorded_at": at.to_rfc3339_opts(SecondsFormat::Micros, true),
        "request": request.id,
        "site": site,
    });
    let mut canonical = String::new();
    write_canonical(&content, &mut canonical);
    Entry { id, leaf: *Hash::of_leaf(canonical.as_bytes()).as_bytes(), lines }
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn canonical_form_does_not_depend_on_the_order_of_keys() {
        let mut text = String::new();
        write_canonical(&json!({ "b": [1, { "z": null, "a": "\u{e9}\"" }], "a": true }), &mut text);
        assert_eq!(text, "{\"a\":true,\"b\":[1,{\"a\":\"é\\\"\",\"z\":null}]}");
    }

    #[test]
    fn a_line_vouches_for_what_cannot_change_and_for_nothing_else() {
        let row = json!({ "id": 1, "mass_mg": 5, "superseded_at": null });
        let later = json!({ "id": 1, "mass_mg": 5, "superseded_at": "2026-01-01" });
        let other = json!({ "id": 1, "mass_mg": 6, "superseded_at": null });
        assert_eq!(line("weights", "1", &row), line("weights", "1", &later));
        assert_ne!(line("weights", "1", &row), line("weights", "1", &other));
    }
}
