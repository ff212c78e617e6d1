//! A spreadsheet of animals, read by a mapping: one row an animal.

use super::mapping::Mapping;
use super::{Entry, Place};
use crate::failure::Failure;
use crate::sheet::{Line, Sheet};
use crate::words::Word;
use csv::StringRecord;
use holt_proto::notation::mass;
use holt_proto::v1;
use std::collections::BTreeMap;

/// What the field `from` says of an animal that was born at the site.
const BORN_HERE: &str = "born-here";

/// Reads a sheet. What is wrong with one row does not touch the others; a column that the mapping names and the
/// sheet does not have is a failure of the whole.
pub(crate) fn read(bytes: &[u8], mapping: &Mapping) -> Result<Vec<Entry>, Failure> {
    let mut sheet = Sheet::open(bytes)?;
    let places = places(&sheet.header, mapping)?;
    let mut entries = Vec::new();
    while let Some(line) = sheet.next()? {
        let mut row = Row { mapping, places: &places, line: &line, entry: Entry::default() };
        row.read(sheet.header.len());
        entries.push(row.entry);
    }
    if entries.is_empty() {
        return Err(Failure::refused("the file has no animal", "write one row for each animal"));
    }
    Ok(entries)
}

/// Where the column of each field stands.
fn places<'m>(header: &StringRecord, mapping: &'m Mapping) -> Result<BTreeMap<&'m str, usize>, Failure> {
    let mut places = BTreeMap::new();
    let mut missing = Vec::new();
    for (field, column) in &mapping.columns {
        let mut found =
            header.iter().enumerate().filter(|(_, name)| name.eq_ignore_ascii_case(column.trim()));
        match (found.next(), found.next()) {
            (Some((place, _)), None) => {
                places.insert(field.as_str(), place);
            }
            (Some(_), Some(_)) => {
                let say = format!("the header has the column `{column}` twice");
                return Err(Failure::refused(say, "rename one of them"));
            }
            (None, _) => missing.push(format!("`{column}`")),
        }
    }
    if missing.is_empty() {
        return Ok(places);
    }
    let there = header.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    Err(Failure::refused(
        format!("the header has no column {}", missing.join(", ")),
        format!("correct the mapping; the columns are {there}"),
    ))
}

/// A row on its way to an entry.
struct Row<'a> {
    mapping: &'a Mapping,
    places: &'a BTreeMap<&'a str, usize>,
    line: &'a Line,
    entry: Entry,
}

impl Row<'_> {
    /// Where a field stands: its column, or its own name where it has none.
    fn place(&self, field: &str) -> Place {
        let column = self.mapping.columns.get(field).map_or(field, String::as_str);
        Place { file: "", row: self.line.row, column: column.to_owned() }
    }

    fn wrong(&mut self, field: &str, say: impl Into<String>, mend: &str) {
        let place = self.place(field);
        self.entry.wrong(place, say, mend);
    }

    /// What a field says, in Holt's words; empty where it says nothing.
    fn text(&self, field: &str) -> String {
        let cell = self.places.get(field).and_then(|place| self.line.fields.get(*place));
        let word = cell.or(self.mapping.constants.get(field).map(String::as_str)).unwrap_or_default();
        self.mapping.meaning(field, word).trim().to_owned()
    }

    /// The same, with a note of where it stands.
    fn noted(&mut self, field: &str, path: &str) -> String {
        let place = self.place(field);
        self.entry.note(path, place);
        self.text(field)
    }

    /// A choice of the contract; `usual` where the field is empty.
    fn choice<E: Word>(&mut self, field: &str, usual: E) -> E {
        let word = self.text(field);
        if word.is_empty() {
            return usual;
        }
        E::of(&word).unwrap_or_else(|| {
            let known = E::ALL.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(", ");
            let mend = format!("write one of {known}, or add the word under [values.{field}]");
            self.wrong(field, format!("`{word}` is not understood"), &mend);
            usual
        })
    }

    /// A day as far as it is known; none where the field is empty.
    fn part_of_day(&mut self, field: &str) -> Option<v1::Day> {
        let text = self.text(field);
        if text.is_empty() {
            return None;
        }
        self.mapping
            .days
            .read(&text)
            .map_err(|say| self.wrong(field, say, "correct it, or the mapping's `days`"))
            .ok()
    }

    /// A whole day; none where the field is empty.
    fn day(&mut self, field: &str) -> Option<v1::Day> {
        let day = self.part_of_day(field)?;
        if holt_proto::time::whole_day(day).is_err() {
            let say = format!("{day} is not a whole day");
            self.wrong(field, say, "give day, month and year");
            return None;
        }
        Some(day)
    }

    fn read(&mut self, columns: usize) {
        self.entry.place = Place { file: "", row: self.line.row, column: String::new() };
        if self.line.fields.len() > columns {
            let say = format!("the row has {} fields and the header {columns}", self.line.fields.len());
            self.wrong("", say, "put a field that holds the separator between quotation marks");
        }
        let number = self.text("number");
        if number.is_empty() {
            self.wrong("number", "no number", "give the number of the animal in your books");
        }
        self.entry.name.clone_from(&number);
        self.noted("number", "id");
        self.entry.life.taxon = self.noted("species", "taxon");
        self.entry.life.common_name = self.noted("common-name", "common_name");
        self.entry.life.owner = self.noted("owner", "owner");
        let sex = self.choice("sex", v1::Sex::Unknown);
        self.noted("sex", "sexes");
        self.entry.life.sexes = vec![v1::SexSince { determined_on: None, sex: sex.into() }];
        self.noted("born", "born_on");
        self.entry.life.born_on = self.part_of_day("born");
        self.entry.life.born_estimated = self.yes("estimated");
        self.marks(number);
        self.parents();
        self.stay();
        let enclosure = self.noted("enclosure", "placements");
        if !enclosure.is_empty() {
            self.entry.life.placements = vec![v1::LifePlacement { enclosure, ..Default::default() }];
        }
        self.weight();
    }

    fn yes(&mut self, field: &str) -> bool {
        let word = self.text(field);
        match word.to_lowercase().as_str() {
            "" | "no" | "n" | "false" | "0" => false,
            "yes" | "y" | "true" | "x" | "1" => true,
            _ => {
                self.wrong(field, format!("`{word}` is neither yes nor no"), "write yes or no");
                false
            }
        }
    }

    fn marks(&mut self, number: String) {
        let place = self.text("place-on-body");
        let on_body = [
            ("transponder", v1::MarkKind::Transponder),
            ("ring", v1::MarkKind::Ring),
            ("tattoo", v1::MarkKind::Tattoo),
        ];
        let mut marks = vec![("number", v1::MarkKind::FormerNumber, number, String::new())];
        marks.push(("name", v1::MarkKind::HouseName, self.text("name"), String::new()));
        marks.extend(on_body.map(|(field, kind)| (field, kind, self.text(field), place.clone())));
        for (field, kind, code, place_on_body) in marks {
            if code.is_empty() {
                continue;
            }
            let path = format!("marks[{}]", self.entry.life.marks.len());
            let place = self.place(field);
            self.entry.note(path, place);
            let mark = Some(v1::NewMark { kind: kind.into(), code, place_on_body });
            self.entry.life.marks.push(v1::LifeMark { mark, ..Default::default() });
        }
    }

    fn parents(&mut self) {
        let because = self.text("parents-because");
        for (field, sex) in [("dam", v1::Sex::Female), ("sire", v1::Sex::Male)] {
            let animal = self.text(field);
            if animal.is_empty() {
                continue;
            }
            let path = format!("parents[{}]", self.entry.life.parents.len());
            let place = self.place(field);
            self.entry.note(path, place);
            let because = because.clone();
            self.entry.life.parents.push(v1::LifeParent {
                animal,
                sex: sex.into(),
                share: 1.0,
                because,
                ..Default::default()
            });
        }
    }

    fn stay(&mut self) {
        let mut stay = v1::Stay::default();
        self.noted("arrived", "stays[0]");
        self.noted("from", "stays[0].source");
        stay.source_name = self.noted("from-name", "stays[0].source_name");
        if self.text("from").eq_ignore_ascii_case(BORN_HERE) {
            stay.began = v1::StayBeginning::Birth.into();
            stay.source_name.clear();
        } else {
            stay.began = v1::StayBeginning::Arrival.into();
            stay.source = self.choice("from", v1::ArrivalSource::OnSiteBefore).into();
        }
        stay.began_on = self.day("arrived");
        let is_birth = stay.began() == v1::StayBeginning::Birth;
        if stay.began_on.is_none() && is_birth && self.text("arrived").is_empty() {
            stay.began_on = self.day("born");
        }
        if stay.began_on.is_none()
            && self.text("arrived").is_empty()
            && (!is_birth || self.text("born").is_empty())
        {
            let mend = "give its day of arrival, as near as it is known";
            self.wrong("arrived", "no day of arrival", mend);
        }
        let (died, left) = (self.day("died"), self.day("left"));
        if died.is_some() && left.is_some() {
            self.wrong(
                "left",
                "it died and departed",
                "if it departed and died elsewhere, leave out the death",
            );
        } else if died.is_some() {
            self.noted("died", "stays[0].ended");
            stay.ended = v1::StayEnd::Death.into();
            stay.ended_on = died;
            stay.manner = self.choice("manner", v1::DeathManner::Unknown).into();
            stay.note = self.noted("note", "stays[0].note");
        } else if left.is_some() {
            self.noted("left", "stays[0].ended");
            stay.ended = v1::StayEnd::Departure.into();
            stay.ended_on = left;
            stay.destination = self.choice("to", v1::DepartureDestination::Collection).into();
            stay.destination_name = self.noted("to-name", "stays[0].destination_name");
        }
        self.entry.life.stays = vec![stay];
    }

    fn weight(&mut self) {
        let text = self.noted("weight", "readings[0]");
        if text.is_empty() {
            return;
        }
        self.noted("weighed", "readings[0].weighed_at");
        let milligrams = match mass::parse(&text, self.mapping.masses) {
            Ok(milligrams) => milligrams,
            Err(error) => {
                let message = error.to_string();
                let (say, mend) = message.split_once("; ").unwrap_or((&message, "correct it"));
                self.wrong("weight", say, mend);
                return;
            }
        };
        let Some(day) = self.day("weighed") else {
            if self.text("weighed").is_empty() {
                self.wrong("weighed", "a weight without a day", "give the day on which it was weighed");
            }
            return;
        };
        let reading = v1::Reading {
            when: Some(v1::reading::When::WeighedOn(day)),
            result: Some(v1::reading::Result::Mass(v1::Mass { milligrams })),
            ..Default::default()
        };
        self.entry.life.readings = vec![v1::LifeReading { reading: Some(reading), doubtful: false }];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exit::Exit;

    const MAPPING: &str = "
days = \"DD/MM/YYYY\"
masses = \"kg\"
[columns]
number = \"Local ID\"
species = \"Latin name\"
name = \"House name\"
sex = \"Sex\"
born = \"DOB\"
arrived = \"Acquired\"
from = \"Origin\"
transponder = \"Chip\"
dam = \"Dam\"
died = \"Died\"
weight = \"Weight\"
weighed = \"Weighed\"
[values.sex]
M = \"male\"
F = \"female\"
[values.species]
\"River otter\" = \"Lontra canadensis\"
[values.from]
bred = \"born-here\"
";

    const HEADER: &str =
        "Local ID;Latin name;House name;Sex;DOB;Acquired;Origin;Chip;Dam;Died;Weight;Weighed\n";

    fn entries(rows: &str) -> Vec<Entry> {
        let mapping = Mapping::read(MAPPING.as_bytes()).unwrap();
        read(format!("{HEADER}{rows}").as_bytes(), &mapping).unwrap()
    }

    #[test]
    fn a_row_is_read_as_the_mapping_says() {
        let rows = "A1;River otter;Bramble;F;05/2021;01/03/2025;collection;985112000123456;;;8,2;24/02/2026\n\
                    A2;lontra canadensis;;m;02/02/2026;;bred;;A1;;;\n";
        let entries = entries(rows);
        let [bramble, pup] = entries.as_slice() else { panic!("{entries:?}") };
        assert_eq!((&bramble.faults, &pup.faults), (&Vec::new(), &Vec::new()));
        let life = &bramble.life;
        assert_eq!((bramble.name.as_str(), life.taxon.as_str()), ("A1", "Lontra canadensis"));
        assert_eq!(life.sexes[0].sex(), v1::Sex::Female);
        assert_eq!(life.born_on.unwrap().to_string(), "2021-05");
        assert_eq!(life.stays[0].source(), v1::ArrivalSource::Collection);
        let codes: Vec<_> = life.marks.iter().map(|worn| worn.mark.as_ref().unwrap().code.as_str()).collect();
        assert_eq!(codes, ["A1", "Bramble", "985112000123456"]);
        let Some(v1::reading::Result::Mass(mass)) = life.readings[0].reading.as_ref().unwrap().result else {
            panic!()
        };
        assert_eq!(mass.milligrams, 8_200_000);
        let stay = &pup.life.stays[0];
        assert_eq!(stay.began(), v1::StayBeginning::Birth);
        assert_eq!(stay.began_on.unwrap().to_string(), "2026-02-02", "born here, so on the books since");
        assert_eq!(pup.life.parents[0].animal, "A1");
    }

    #[test]
    fn all_that_is_wrong_with_a_row_is_told_with_its_column() {
        let rows = "A1;River otter;Bramble;F;2021;01/03/2025;collection;;;;;\n\
                    ;River otter;;X;2021-05;;swapped;;;;heavy;\n";
        let entries = entries(rows);
        assert!(entries[0].faults.is_empty());
        let columns: Vec<_> = entries[1].faults.iter().map(|fault| fault.place.column.as_str()).collect();
        assert_eq!(columns, ["Local ID", "Sex", "DOB", "Origin", "Acquired", "Weight"]);
        assert!(entries[1].faults.iter().all(|fault| fault.place.row == Some(3) && !fault.mend.is_empty()));
    }

    #[test]
    fn a_sheet_without_a_column_of_the_mapping_is_refused_with_those_it_has() {
        let mapping = Mapping::read(MAPPING.as_bytes()).unwrap();
        let failure = read(b"Local ID,Sex\nA1,F\n", &mapping).unwrap_err();
        assert_eq!(failure.exit, Exit::Refused);
        assert!(failure.say.contains("`Chip`") && failure.mend.contains("`Local ID`, `Sex`"), "{failure:?}");
        assert!(read(HEADER.as_bytes(), &mapping).unwrap_err().say.contains("no animal"));
    }
}
