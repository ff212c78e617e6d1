//! Reads the tables of published numbers that lie in `tables/`. Their first lines name the source.

use std::path::Path;

/// The rows of one table as text, by the names in its header line.
pub(crate) struct Table {
    header: csv::StringRecord,
    rows: Vec<csv::StringRecord>,
}

/// One row, whose fields are asked for by name.
pub(crate) struct Row<'a> {
    header: &'a csv::StringRecord,
    fields: &'a csv::StringRecord,
}

/// Reads `tables/<name>.csv`; lines that start with `#` are commentary.
pub(crate) fn read(name: &str) -> Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/external/tables").join(name);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path.with_extension("csv"))
        .unwrap_or_else(|error| panic!("table {name}: {error}"));
    let header = reader.headers().unwrap().clone();
    let rows = reader.records().map(Result::unwrap).collect();
    Table { header, rows }
}

impl Table {
    pub(crate) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|fields| Row { header: &self.header, fields })
    }
}

impl<'a> Row<'a> {
    pub(crate) fn text(&self, column: &str) -> &'a str {
        let place = self.header.iter().position(|name| name == column);
        &self.fields[place.unwrap_or_else(|| panic!("no column {column}"))]
    }

    pub(crate) fn number(&self, column: &str) -> f64 {
        self.text(column).parse().unwrap_or_else(|_| panic!("{column}: {:?}", self.text(column)))
    }
}

/// Asserts that `ours` is the published number up to a relative `tolerance`.
#[track_caller]
pub(crate) fn agrees(ours: f64, published: f64, tolerance: f64) {
    let off = (ours - published).abs() / published.abs().max(f64::MIN_POSITIVE);
    assert!(off <= tolerance, "ours {ours:e}, published {published:e}: relative difference {off:e}");
}
