//! A round file: a sheet with a reading in each row.

use super::row::{Fields, Terms, reading};
use super::{Entry, Malformed};
use crate::failure::Failure;
use crate::sheet::{Line, Sheet};
use csv::StringRecord;

/// The columns a round file may have.
const COLUMNS: [&str; 10] =
    ["animal", "mass", "weight", "at", "date", "time", "declined", "scale", "method", "note"];

/// Where each column stands.
#[derive(Default)]
struct Places([Option<usize>; COLUMNS.len()]);

/// Reads a round file. What is wrong with one row does not touch the others; what is wrong with the
/// header, or makes it no text at all, is a failure of the whole.
pub(crate) fn read(bytes: &[u8], terms: &Terms) -> Result<Vec<Entry>, Failure> {
    let mut sheet = Sheet::open(bytes)?;
    let places = Places::of(&sheet.header)?;
    let columns = sheet.header.len();
    let mut entries = Vec::new();
    while let Some(Line { row, fields: record }) = sheet.next()? {
        let fields = places.fields(&record);
        let reading = if record.len() > columns {
            Err(Malformed::new(
                "note",
                format!("the row has {} fields and the header {}", record.len(), columns),
                "put a field that holds the separator between quotation marks",
            ))
        } else {
            reading(fields, terms)
        };
        entries.push(Entry { row, animal: fields.animal.to_owned(), reading });
    }
    if entries.is_empty() {
        return Err(Failure::refused("the file has no reading", "write one row for each animal"));
    }
    Ok(entries)
}

impl Places {
    fn of(header: &StringRecord) -> Result<Self, Failure> {
        let mut places = Self::default();
        let mut unknown = Vec::new();
        for (place, name) in header.iter().enumerate() {
            match COLUMNS.iter().position(|column| column.eq_ignore_ascii_case(name)) {
                None => unknown.push(format!("`{name}`")),
                Some(column) if places.0[column].is_some() => {
                    return Err(bad_header(format!("the column `{name}` is there twice")));
                }
                Some(column) => places.0[column] = Some(place),
            }
        }
        if !unknown.is_empty() {
            return Err(bad_header(format!("the header has unknown columns: {}", unknown.join(", "))));
        }
        if places.at("animal").is_none() {
            return Err(bad_header("the header has no column `animal`".to_owned()));
        }
        if places.at("mass").is_some() && places.at("weight").is_some() {
            return Err(bad_header("the header has both `mass` and `weight`".to_owned()));
        }
        Ok(places)
    }

    fn at(&self, column: &str) -> Option<usize> {
        COLUMNS.iter().position(|each| *each == column).and_then(|n| self.0[n])
    }

    fn fields<'a>(&self, record: &'a StringRecord) -> Fields<'a> {
        let field = |column: &str| self.at(column).and_then(|place| record.get(place)).unwrap_or_default();
        let mass = field("mass");
        Fields {
            animal: field("animal"),
            mass: if mass.is_empty() { field("weight") } else { mass },
            at: field("at"),
            date: field("date"),
            time: field("time"),
            declined: field("declined"),
            scale: field("scale"),
            method: field("method"),
            note: field("note"),
        }
    }
}

fn bad_header(say: String) -> Failure {
    Failure::refused(say, format!("the first row names the columns; they are {}", COLUMNS.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exit::Exit;
    use chrono::{DateTime, Utc};
    use chrono_tz::Tz;
    use holt_proto::notation::mass::Unit;
    use holt_proto::v1::reading::Result as Outcome;
    use proptest::prelude::*;

    fn terms() -> Terms {
        let now = DateTime::parse_from_rfc3339("2026-11-25T12:00:00Z").unwrap().with_timezone(&Utc);
        Terms { zone: Tz::Europe__Dublin, now, unit: Some(Unit::Kg), at: None }
    }

    fn masses(bytes: &[u8]) -> Vec<(Option<u64>, String, i64)> {
        let entries = read(bytes, &terms()).unwrap();
        let mass = |entry: &Entry| match entry.reading.as_ref().unwrap().result {
            Some(Outcome::Mass(mass)) => mass.milligrams,
            _ => 0,
        };
        entries.iter().map(|entry| (entry.row, entry.animal.clone(), mass(entry))).collect()
    }

    #[test]
    fn files_of_every_spreadsheet_are_read() {
        let wanted = [(Some(2), "Bramble".to_owned(), 8_200_000), (Some(3), "Sedge".to_owned(), 7_900_000)];
        for file in [
            "animal,mass,at\nBramble,8.2kg,2026-11-25\nSedge,7.9,2026-11-25\n",
            "animal,mass,at\r\nBramble,8.2kg,2026-11-25\r\nSedge,7.9,2026-11-25\r\n",
            "\u{feff}Animal;Weight;At\r\nBramble;8,2;2026-11-25\r\nSedge;7,9;2026-11-25",
            "animal\tmass\tdate\tnote\nBramble\t8.2\t2026-11-25\t\nSedge\t7.9\t2026-11-25\t",
            " animal , mass , at \n Bramble , 8.2 kg , 2026-11-25 \n\"Sedge\",\"7,9 kg\",2026-11-25\n",
        ] {
            assert_eq!(masses(file.as_bytes()), wanted, "{file}");
        }
    }

    #[test]
    fn rows_are_counted_as_a_spreadsheet_counts_them() {
        for end in ["\n", "\r\n", "\r"] {
            let file =
                ["animal,mass,at", "Bramble,8.2,2026-11-25", "", ",,", "Sedge,7.9,2026-11-25", ""].join(end);
            let rows: Vec<Option<u64>> = masses(file.as_bytes()).into_iter().map(|(row, ..)| row).collect();
            assert_eq!(rows, [Some(2), Some(5)], "{end:?}");
        }
    }

    #[test]
    fn one_malformed_row_does_not_touch_the_others() {
        let file = "animal,mass,at\nBramble,heavy,2026-11-25\nSedge,7.9,2026-11-25\nTeasel,8,2026-11-25,x\n";
        let entries = read(file.as_bytes(), &terms()).unwrap();
        let wrong = |n: usize| entries[n].reading.as_ref().err().map(|wrong: &Malformed| wrong.column);
        assert_eq!((wrong(0), wrong(1), wrong(2)), (Some("mass"), None, Some("note")));
    }

    #[test]
    fn what_is_no_round_file_is_refused_as_a_whole() {
        for (file, say) in [
            (b"animal,mas,at,colour\nx,1,2".as_slice(), "the header has unknown columns: `mas`, `colour`"),
            (b"name,mass\nx,1", "the header has unknown columns: `name`"),
            (b"mass,at\n1,2", "the header has no column `animal`"),
            (b"animal,mass,Mass\nx,1,1", "the column `Mass` is there twice"),
            (b"animal,mass,weight\nx,1,1", "the header has both `mass` and `weight`"),
            (b"animal,mass,at\n", "the file has no reading"),
            (b"animal,note\nBramble,caf\xe9", "row 2 of the file is not UTF-8"),
            (b"\xff\xfea\0n\0", "the file is UTF-16"),
            (b"", "the header has no column `animal`"),
        ] {
            let failure = read(file, &terms()).unwrap_err();
            assert_eq!((failure.say.as_str(), failure.exit), (say, Exit::Refused));
        }
    }

    proptest! {
        #[test]
        fn no_file_makes_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = read(&bytes, &terms());
            let mut file = b"animal;mass;at\n".to_vec();
            file.extend(bytes);
            let _ = read(&file, &terms());
        }

        #[test]
        fn every_line_of_a_sound_file_is_counted_once(lines in prop::collection::vec(0..3_u8, 1..40)) {
            let line = |kind: &u8| ["Bramble,8,2026-11-25", "", "Sedge,heavy,x"][usize::from(*kind)];
            let file = format!("animal,mass,at\n{}", lines.iter().map(line).collect::<Vec<_>>().join("\n"));
            let wanted: Vec<u64> =
                (2_u64..).zip(&lines).filter(|(_, kind)| **kind != 1).map(|(row, _)| row).collect();
            match read(file.as_bytes(), &terms()) {
                Ok(entries) => {
                    let rows: Vec<u64> = entries.iter().filter_map(|entry| entry.row).collect();
                    prop_assert_eq!(rows, wanted);
                }
                Err(_) => prop_assert!(wanted.is_empty()),
            }
        }
    }
}
