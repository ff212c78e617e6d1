//! Flat records: what `plain` and `csv` are made of.

use crate::failure::Failure;
use serde::Serialize;

/// Names of the fields, and the records.
pub(super) struct Flat {
    pub(super) names: Vec<String>,
    pub(super) records: Vec<Vec<String>>,
}

/// The records as texts, with the names of their fields also where there is no record.
pub(super) fn flatten<R: Serialize + Default>(rows: &[R]) -> Result<Flat, Failure> {
    let wrong = |error: csv::Error| Failure::machine(error.to_string(), "");
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.serialize(R::default()).map_err(wrong)?;
    for row in rows {
        writer.serialize(row).map_err(wrong)?;
    }
    let bytes = writer.into_inner().map_err(|error| Failure::machine(error.to_string(), ""))?;
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let texts = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect::<Vec<_>>();
    let names = texts(reader.headers().map_err(wrong)?);
    let mut records = Vec::with_capacity(rows.len());
    for record in reader.records().skip(1) {
        records.push(texts(&record.map_err(wrong)?));
    }
    Ok(Flat { names, records })
}
