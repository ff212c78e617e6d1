//! The metafile: which file holds what, and which column is which term.

use super::{EVENTS, MEASUREMENTS, OCCURRENCES, RELATIONSHIPS, TERMS, Table};
use std::fmt::Write;

/// Its name in an archive.
pub(crate) const FILE: &str = "meta.xml";

/// The metafile of every archive that is written here.
pub(crate) fn text() -> String {
    let mut xml = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<archive xmlns=\"http://rs.tdwg.org/dwc/text/\">\n",
    );
    entity(&mut xml, "core", "id", &OCCURRENCES);
    for table in [&MEASUREMENTS, &RELATIONSHIPS, &EVENTS] {
        entity(&mut xml, "extension", "coreid", table);
    }
    xml.push_str("</archive>\n");
    xml
}

fn entity(xml: &mut String, element: &str, key: &str, table: &Table) {
    let _ = writeln!(
        xml,
        "  <{element} encoding=\"UTF-8\" fieldsTerminatedBy=\",\" linesTerminatedBy=\"\\n\" fieldsEnclosedBy='\"' \
         ignoreHeaderLines=\"1\" rowType=\"{TERMS}{}\">",
        table.class
    );
    let _ = writeln!(xml, "    <files>\n      <location>{}</location>\n    </files>", table.file);
    let _ = writeln!(xml, "    <{key} index=\"0\"/>");
    // In an extension the first column says which row of the core it belongs to, and is no field of its own.
    let skip = usize::from(element == "extension");
    for (index, term) in table.columns.iter().enumerate().skip(skip) {
        let _ = writeln!(xml, "    <field index=\"{index}\" term=\"{TERMS}{term}\"/>");
    }
    let _ = writeln!(xml, "  </{element}>");
}
