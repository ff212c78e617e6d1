//! Ledger entries: one per write, saying row by row what was written; and the way back from a row to its
//! entry.

use crate::doors::Snapshot;
use crate::error::Error;
use crate::rows::{self, Row};
use crate::seals;
use crate::tables::every_table;
use chrono::{DateTime, SecondsFormat, Utc};
use holt_audit::seal::Hash;
use sea_orm::FromQueryResult;
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// Columns that may change after a row was written: they are no part of what its line vouches for. What
/// changes them leaves a line of its own.
const MUTABLE: [&str; 6] =
    ["superseded_at", "superseded_in", "superseded_why", "state", "version", "withheld_by"];

/// One row that was written: the digest of what stays, and what its changing columns held at first.
pub(super) fn line(table: &str, key: &str, row: &Value) -> Value {
    let mut line = json!({ "table": table, "row": key, "sha256": digest(row).to_string() });
    let first = changing(row);
    if !first.is_empty() {
        line["state"] = Value::Object(first);
    }
    line
}

/// What a row's changing columns hold, without those that hold nothing.
pub(super) fn changing(row: &Value) -> Map<String, Value> {
    let columns = row.as_object().into_iter().flatten();
    let filled = columns.filter(|(name, value)| MUTABLE.contains(&name.as_str()) && !value.is_null());
    filled.map(|(name, value)| (name.clone(), value.clone())).collect()
}

/// SHA-256 of a row's [content](content).
pub(super) fn digest(row: &Value) -> Hash {
    Hash::of_content(content(row).as_bytes())
}

/// A row's content in canonical form, without the columns that may change.
pub(super) fn content(row: &Value) -> String {
    let mut text = String::new();
    match row {
        Value::Object(columns) => {
            object(columns.iter().filter(|(name, _)| !MUTABLE.contains(&name.as_str())), &mut text);
        }
        other => write_canonical(other, &mut text),
    }
    text
}

/// JSON with the keys of every object in order and no white space, whatever order the parser keeps, and
/// with whole numbers written out: so PostgreSQL gives them back from `jsonb`.
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
        Value::Number(number) => {
            match number.as_f64().filter(|value| number.is_f64() && value.fract() == 0.0) {
                // Adding nothing takes the sign from a negative zero.
                Some(whole) => text.push_str(&format!("{:.0}", whole + 0.0)),
                None => text.push_str(&number.to_string()),
            }
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

/// What an entry says.
pub(super) struct Entry {
    pub id: Uuid,
    pub site: Option<Uuid>,
    pub person: Uuid,
    pub request: Uuid,
    pub method: String,
    pub at: DateTime<Utc>,
    pub lines: Value,
}

impl Entry {
    /// The entry in canonical form: the bytes that are a leaf of the tree.
    pub(super) fn content(&self) -> String {
        let content = json!({
            "id": self.id,
            "lines": self.lines,
            "method": self.method,
            "person": self.person,
            "recorded_at": self.at.to_rfc3339_opts(SecondsFormat::Micros, true),
            "request": self.request,
            "site": self.site,
        });
        let mut canonical = String::new();
        write_canonical(&content, &mut canonical);
        canonical
    }

    /// The RFC 6962 leaf hash of the entry.
    pub(super) fn leaf(&self) -> Hash {
        Hash::of_leaf(self.content().as_bytes())
    }
}

/// A row as it was written, whatever came of it since.
pub struct Written {
    pub table: &'static str,
    pub key: String,
    /// In canonical form.
    pub content: String,
    person: Uuid,
    request: Uuid,
}

/// An entry that was found.
pub struct Found {
    pub id: Uuid,
    pub recorded_at: DateTime<Utc>,
    /// In canonical form.
    pub content: String,
    /// Its place in the tree, once it is sealed.
    pub position: Option<u64>,
}

/// Looks for a row in one table after the other.
struct Search<'s> {
    snapshot: &'s Snapshot,
    animal: Uuid,
    record: Uuid,
    found: Option<Written>,
}

/// The row of an identifier that is about an animal, or the animal's own, in whichever table it is.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn row(snapshot: &Snapshot, animal: Uuid, record: Uuid) -> Result<Option<Written>, Error> {
    let mut search = Search { snapshot, animal, record, found: None };
    every_table!(look_in(&mut search));
    Ok(search.found)
}

async fn look_in<R: Row>(search: &mut Search<'_>) -> Result<(), Error> {
    let (table, columns) = (rows::name::<R>(), rows::columns::<R>());
    let about = if columns.contains(&"animal_id") { "animal_id" } else { "id" };
    if search.found.is_some() || !columns.contains(&"id") || !(about == "animal_id" || table == "animals") {
        return Ok(());
    }
    let sql = format!("SELECT {} FROM {table} WHERE {about} = $1 AND id = $2", columns.join(", "));
    let found = search.snapshot.rows::<R>(&sql, [search.animal.into(), search.record.into()]).await?;
    let Some(row) = found.first() else { return Ok(()) };
    let value = serde_json::to_value(row)?;
    let id = |column: &'static str| {
        let id = value[column].as_str().and_then(|id| id.parse().ok());
        id.ok_or_else(|| Error::corrupt(table, column, "no identifier"))
    };
    let (person, request) = (id("recorded_by")?, id("request_id")?);
    search.found = Some(Written { table, key: row.key(), content: content(&value), person, request });
    Ok(())
}

/// The entry of the write that wrote a row, where the caller may see it.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn entry(snapshot: &Snapshot, row: &Written) -> Result<Option<Found>, Error> {
    #[derive(FromQueryResult)]
    struct Kept {
        id: Uuid,
        site_id: Option<Uuid>,
        method: String,
        recorded_at: DateTime<Utc>,
        lines: Value,
        position: Option<i64>,
    }
    let rows = snapshot
        .rows::<Kept>(
            "SELECT l.id, l.site_id, l.method, l.recorded_at, l.lines, v.position
               FROM ledger l JOIN leaves v ON v.entry_id = l.id
              WHERE l.request_id = $1 AND l.person_id = $2",
            [row.request.into(), row.person.into()],
        )
        .await?;
    let Some(kept) = rows.into_iter().next() else { return Ok(None) };
    let entry = Entry {
        id: kept.id,
        site: kept.site_id,
        person: row.person,
        request: row.request,
        method: kept.method,
        at: kept.recorded_at,
        lines: kept.lines,
    };
    let position = kept.position.map(|place| seals::count(place, "position")).transpose()?;
    Ok(Some(Found { id: entry.id, recorded_at: entry.at, content: entry.content(), position }))
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
    fn numbers_are_written_as_the_database_gives_them_back() {
        let mut text = String::new();
        write_canonical(&json!([1.0, 1e16, -0.0, 0.5, 7, 1e-7]), &mut text);
        assert_eq!(text, "[1,10000000000000000,0,0.5,7,1e-7]");
    }

    #[test]
    fn a_line_vouches_for_what_cannot_change_and_for_nothing_else() {
        let row = json!({ "id": 1, "mass_mg": 5, "superseded_at": null });
        let later = json!({ "id": 1, "mass_mg": 5, "superseded_at": "2026-01-01" });
        let other = json!({ "id": 1, "mass_mg": 6, "superseded_at": null });
        assert_eq!(digest(&row), digest(&later));
        assert_ne!(digest(&row), digest(&other));
        assert!(line("weights", "1", &row).get("state").is_none());
        assert_eq!(line("weights", "1", &later)["state"], json!({ "superseded_at": "2026-01-01" }));
    }
}
