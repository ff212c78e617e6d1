//! Records for spreadsheets (RFC 4180, with a header).

use super::rows::flatten;
use crate::failure::Failure;
use serde::Serialize;

pub(super) fn print<R: Serialize + Default>(rows: &[R]) -> Result<String, Failure> {
    let flat = flatten(rows)?;
    let wrong = |error: csv::Error| Failure::machine(error.to_string(), "");
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(&flat.names).map_err(wrong)?;
    for record in flat.records {
        writer.write_record(record.iter().map(|field| harmless(field))).map_err(wrong)?;
    }
    let bytes = writer.into_inner().map_err(|error| Failure::machine(error.to_string(), ""))?;
    String::from_utf8(bytes).map_err(|error| Failure::machine(error.to_string(), ""))
}

/// A spreadsheet runs as a formula what begins so, even out of a file (OWASP, CSV Injection); with an
/// apostrophe before it, it is text. A number is left as it is.
fn harmless(field: &str) -> String {
    let runs = field.starts_with(['=', '+', '-', '@', '\t', '\r']) && field.parse::<f64>().is_err();
    if runs { format!("'{field}") } else { field.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default, Serialize)]
    struct Row {
        name: &'static str,
        change: f64,
    }

    #[test]
    fn no_text_is_run_as_a_formula_and_every_number_stays_one() {
        let rows = ["=1+1", "+44 1", "-x", "@a", "\tb", "plain, with a comma"]
            .map(|name| Row { name, change: -1.5 });
        assert_eq!(
            print(&rows).unwrap(),
            "name,change\n'=1+1,-1.5\n'+44 1,-1.5\n'-x,-1.5\n'@a,-1.5\n'\tb,-1.5\n\"plain, with a comma\",-1.5\n"
        );
    }

    #[test]
    fn an_empty_list_has_its_header() {
        assert_eq!(print::<Row>(&[]).unwrap(), "name,change\n");
    }
}
