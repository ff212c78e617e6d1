//! Lines for other programs: a record a line, its fields between tabs, without a header.

use super::rows::flatten;
use crate::failure::Failure;
use serde::Serialize;

pub(super) fn print<R: Serialize + Default>(rows: &[R]) -> Result<String, Failure> {
    let mut text = String::new();
    for record in flatten(rows)?.records {
        let fields: Vec<String> = record.iter().map(|field| field.replace(['\t', '\n', '\r'], " ")).collect();
        text.push_str(&fields.join("\t"));
        text.push('\n');
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default, Serialize)]
    struct Row {
        name: &'static str,
        note: Option<&'static str>,
    }

    #[test]
    fn a_record_stays_on_its_line() {
        let rows = [Row { name: "Bramble", note: Some("wet\tfur\nlate") }, Row { name: "Sedge", note: None }];
        assert_eq!(print(&rows).unwrap(), "Bramble\twet fur late\nSedge\t\n");
        assert_eq!(print::<Row>(&[]).unwrap(), "");
    }
}
