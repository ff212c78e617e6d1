//! Reading an archive that Holt wrote, or one of the same files and terms.

use super::notation::{Point, read_method, read_remarks, read_span};
use super::{BIRTH, DAM, DEATH, EVENTS, MEASUREMENTS, OCCURRENCES, RELATIONSHIPS, SIRE, Table, URN, kind};
use crate::exchange::{Entry, Place};
use crate::failure::Failure;
use crate::sheet::{Line, Sheet};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use csv::StringRecord;
use holt_proto::notation::mass::{self, Unit};
use holt_proto::time::{day, timestamp};
use holt_proto::v1::{self, reading};
use prost_types::Timestamp;
use std::collections::HashMap;
use std::path::Path;

/// An archive: the site that it is of, and its animals.
pub(crate) struct Archive {
    pub(crate) site: String,
    files: Vec<(&'static str, Vec<u8>)>,
}

/// A row of a file, by term.
struct Row<'r> {
    table: &'static Table,
    header: &'r StringRecord,
    line: Line,
}

impl Row<'_> {
    fn get(&self, term: &str) -> &str {
        let place = self.header.iter().position(|column| column == term);
        place.and_then(|place| self.line.fields.get(place)).unwrap_or_default()
    }

    fn place(&self, term: &str) -> Place {
        Place { file: self.table.file, row: self.line.row, column: term.to_owned() }
    }

    /// Says of the whole archive that this row cannot be.
    fn refused(&self, term: &str, say: &str) -> Failure {
        let row = self.line.row.unwrap_or_default();
        Failure::refused(
            format!("{}, row {row}, `{term}`: {say}", self.table.file),
            "use the whole archive as it was exported; or add a sheet by a mapping (`holt exchange from-sheet`)",
        )
    }
}

impl Archive {
    /// Reads the files of a folder, and of which site they are.
    pub(crate) fn open(folder: &Path) -> Result<Self, Failure> {
        let mut files = Vec::new();
        for table in [&OCCURRENCES, &MEASUREMENTS, &RELATIONSHIPS, &EVENTS] {
            let path = folder.join(table.file);
            let bytes = std::fs::read(&path).map_err(|error| Failure::named_file(&path, &error))?;
            files.push((table.file, bytes));
        }
        let mut archive = Self { site: String::new(), files };
        let mut site = String::new();
        archive.rows(&OCCURRENCES, |row| {
            let code = row.get("institutionCode");
            if !site.is_empty() && site != code {
                return Err(
                    row.refused("institutionCode", &format!("the row is of {code}, and others of {site}"))
                );
            }
            code.clone_into(&mut site);
            Ok(())
        })?;
        if site.is_empty() {
            return Err(Failure::refused("the archive has no animal", "export the animals of a site first"));
        }
        archive.site = site;
        Ok(archive)
    }

    /// Its animals, with days of the zone of the site.
    pub(crate) fn entries(&self, zone: Tz) -> Result<Vec<Entry>, Failure> {
        let mut animals = Animals { site: self.site.clone(), zone, ..Animals::default() };
        self.rows(&OCCURRENCES, |row| animals.occurrence(&row))?;
        self.rows(&MEASUREMENTS, |row| animals.measurement(&row))?;
        self.rows(&RELATIONSHIPS, |row| animals.relationship(&row))?;
        self.rows(&EVENTS, |row| animals.event(&row))?;
        Ok(animals.entries)
    }

    fn rows(
        &self,
        table: &'static Table,
        mut each: impl FnMut(Row<'_>) -> Result<(), Failure>,
    ) -> Result<(), Failure> {
        let bytes =
            self.files.iter().find(|(file, _)| *file == table.file).map(|(_, bytes)| bytes.as_slice());
        let mut sheet = Sheet::open(bytes.unwrap_or_default())?;
        let header = sheet.header.clone();
        let missing: Vec<_> =
            table.columns.iter().filter(|term| !header.iter().any(|column| column == **term)).collect();
        if !missing.is_empty() {
            return Err(Failure::refused(
                format!(
                    "{} has no column {}",
                    table.file,
                    missing.iter().map(|term| format!("`{term}`")).collect::<Vec<_>>().join(", ")
                ),
                "the first row names the terms of Darwin Core; use the archive as it was exported",
            ));
        }
        while let Some(line) = sheet.next()? {
            each(Row { table, header: &header, line })?;
        }
        Ok(())
    }
}

/// Animals on their way.
#[derive(Default)]
struct Animals {
    site: String,
    zone: Tz,
    entries: Vec<Entry>,
    by_organism: HashMap<String, usize>,
    /// Which animal, and which of its stays.
    by_occurrence: HashMap<String, (usize, usize)>,
}

/// An instant, where the point is one.
fn at(point: Point) -> Option<Timestamp> {
    match point {
        Point::At(at) => Some(timestamp(at)),
        Point::On(_) => None,
    }
}

impl Animals {
    fn day_of(&self, point: Point) -> v1::Day {
        match point {
            Point::On(day) => day,
            Point::At(at) => day(at.with_timezone(&self.zone).date_naive()),
        }
    }

    fn occurrence(&mut self, row: &Row<'_>) -> Result<(), Failure> {
        let organism = row.get("organismID").to_owned();
        let id = organism.strip_prefix(URN).ok_or_else(|| {
            row.refused("organismID", &format!("`{organism}` is not an identifier of Holt, urn:uuid:…"))
        })?;
        let n = match self.by_organism.get(&organism) {
            Some(n) => *n,
            None => {
                let place = Place { file: row.table.file, row: row.line.row, column: String::new() };
                let mut entry = Entry::at(row.get("catalogNumber"), place);
                let owner = row.get("ownerInstitutionCode");
                entry.life = v1::Life {
                    id: id.to_owned(),
                    accession: row.get("catalogNumber").to_owned(),
                    taxon: row.get("scientificName").to_owned(),
                    common_name: row.get("vernacularName").to_owned(),
                    owner: if owner == self.site { String::new() } else { owner.to_owned() },
                    ..Default::default()
                };
                for (path, term) in [
                    ("id", "organismID"),
                    ("accession", "catalogNumber"),
                    ("taxon", "scientificName"),
                    ("common_name", "vernacularName"),
                    ("owner", "ownerInstitutionCode"),
                ] {
                    entry.note(path, row.place(term));
                }
                self.entries.push(entry);
                self.by_organism.insert(organism, self.entries.len() - 1);
                self.entries.len() - 1
            }
        };
        let mut stay = v1::Stay { began: v1::StayBeginning::Arrival.into(), ..Default::default() };
        let dates = read_span(row.get("eventDate"));
        let life = &self.entries[n].life;
        let differs = [("catalogNumber", &life.accession), ("scientificName", &life.taxon)]
            .into_iter()
            .find(|(term, first)| row.get(term) != first.as_str());
        if let Some((term, first)) = differs {
            return Err(row.refused(term, &format!("the same animal has `{first}` in another row")));
        }
        match dates {
            Ok((from, until)) => {
                (stay.began_on, stay.began_at) = (Some(self.day_of(from)), at(from));
                if let Some(until) = until {
                    (stay.ended_on, stay.ended_at) = (Some(self.day_of(until)), at(until));
                }
            }
            Err(say) => {
                let place = row.place("eventDate");
                self.entries[n].wrong(place, say, "write first and last day, such as 2025-03-01/2026-02-01");
            }
        }
        let entry = &mut self.entries[n];
        let k = entry.life.stays.len();
        entry.note(format!("stays[{k}]"), row.place("eventDate"));
        entry.life.stays.push(stay);
        self.by_occurrence.insert(row.get("occurrenceID").to_owned(), (n, k));
        Ok(())
    }

    /// The animal, and the stay, that a row of an extension belongs to.
    fn owner_of(&self, row: &Row<'_>) -> Result<(usize, usize), Failure> {
        let key = row.get("occurrenceID");
        let say = format!("`{key}` is not a row of {}", OCCURRENCES.file);
        self.by_occurrence.get(key).copied().ok_or_else(|| row.refused("occurrenceID", &say))
    }

    fn measurement(&mut self, row: &Row<'_>) -> Result<(), Failure> {
        let (n, k) = self.owner_of(row)?;
        let zone = self.zone;
        let entry = &mut self.entries[n];
        let (kind, value, date) =
            (row.get("measurementType"), row.get("measurementValue"), row.get("measurementDeterminedDate"));
        let wrong =
            |entry: &mut Entry, term: &str, say: String, mend: &str| entry.wrong(row.place(term), say, mend);
        const AS_GIVEN: &str = "use the archive as it was exported";
        if let Some(word) = kind.strip_prefix(kind::MARK) {
            let Some(kind) = v1::MarkKind::of(word) else {
                wrong(entry, "measurementType", format!("`{word}` is not a kind of mark"), AS_GIVEN);
                return Ok(());
            };
            let mut worn = v1::LifeMark {
                mark: Some(v1::NewMark {
                    kind: kind.into(),
                    code: value.to_owned(),
                    place_on_body: row.get("measurementMethod").to_owned(),
                }),
                ended_why: row.get("measurementRemarks").to_owned(),
                ..Default::default()
            };
            match read_span(date) {
                Ok((from, until)) => {
                    (worn.from, worn.until) = (start(from, zone), until.and_then(|until| start(until, zone)));
                }
                Err(say) => wrong(entry, "measurementDeterminedDate", say, AS_GIVEN),
            }
            let path = format!("marks[{}]", entry.life.marks.len());
            entry.note(path.clone(), row.place("measurementValue"));
            entry.note(format!("{path}.from"), row.place("measurementDeterminedDate"));
            entry.note(format!("{path}.until"), row.place("measurementDeterminedDate"));
            entry.life.marks.push(worn);
            return Ok(());
        }
        match kind {
            kind::BORN => match value.parse() {
                Ok(born) => {
                    entry.life.born_on = Some(born);
                    entry.life.born_estimated = !row.get("measurementAccuracy").is_empty();
                    entry.note("born_on", row.place("measurementValue"));
                }
                Err(_) => wrong(entry, "measurementValue", format!("`{value}` is not a day"), AS_GIVEN),
            },
            kind::SEX => {
                let Some(sex) = v1::Sex::of(value) else {
                    wrong(entry, "measurementValue", format!("`{value}` is not a sex"), AS_GIVEN);
                    return Ok(());
                };
                let determined_on = (!date.is_empty()).then(|| date.parse()).transpose();
                match determined_on {
                    Ok(determined_on) => {
                        let path = format!("sexes[{}]", entry.life.sexes.len());
                        entry.note(path, row.place("measurementDeterminedDate"));
                        entry.life.sexes.push(v1::SexSince { determined_on, sex: sex.into() });
                    }
                    Err(_) => {
                        wrong(entry, "measurementDeterminedDate", format!("`{date}` is not a day"), AS_GIVEN);
                    }
                }
            }
            kind::COMING => {
                entry.note(format!("stays[{k}].source"), row.place("measurementValue"));
                let stay = &mut entry.life.stays[k];
                if value == BIRTH {
                    stay.began = v1::StayBeginning::Birth.into();
                } else if let Some(source) = v1::ArrivalSource::of(value) {
                    stay.source = source.into();
                    row.get("measurementRemarks").clone_into(&mut stay.source_name);
                } else {
                    wrong(entry, "measurementValue", format!("`{value}` is not a kind of arrival"), AS_GIVEN);
                }
            }
            kind::LEAVING => {
                entry.note(format!("stays[{k}].ended"), row.place("measurementValue"));
                let stay = &mut entry.life.stays[k];
                if value == DEATH {
                    stay.ended = v1::StayEnd::Death.into();
                    let manner = row.get("measurementMethod");
                    stay.manner = v1::DeathManner::of(manner).unwrap_or_default().into();
                    row.get("measurementRemarks").clone_into(&mut stay.note);
                } else if let Some(destination) = v1::DepartureDestination::of(value) {
                    stay.ended = v1::StayEnd::Departure.into();
                    stay.destination = destination.into();
                    row.get("measurementRemarks").clone_into(&mut stay.destination_name);
                } else {
                    wrong(
                        entry,
                        "measurementValue",
                        format!("`{value}` is not a kind of departure"),
                        AS_GIVEN,
                    );
                }
            }
            kind::MASS | kind::DOUBTFUL | kind::TRIED => match reading_of(row, kind, value, date) {
                Ok(reading) => {
                    let path = format!("readings[{}]", entry.life.readings.len());
                    entry.note(path.clone(), row.place("measurementValue"));
                    entry.note(format!("{path}.weighed_at"), row.place("measurementDeterminedDate"));
                    let doubtful = kind == kind::DOUBTFUL;
                    entry.life.readings.push(v1::LifeReading { reading: Some(reading), doubtful });
                }
                Err((term, say)) => wrong(entry, term, say, AS_GIVEN),
            },
            other => {
                let say = format!("Holt cannot import `{other}`");
                wrong(entry, "measurementType", say, "leave the row out if you do not need it");
            }
        }
        Ok(())
    }

    fn relationship(&mut self, row: &Row<'_>) -> Result<(), Failure> {
        let (n, _) = self.owner_of(row)?;
        let entry = &mut self.entries[n];
        let sex = match row.get("relationshipOfResource") {
            DAM => v1::Sex::Female,
            SIRE => v1::Sex::Male,
            other => {
                let say = format!("Holt cannot import `{other}`");
                let mend = "leave the row out if you do not need it";
                entry.wrong(row.place("relationshipOfResource"), say, mend);
                return Ok(());
            }
        };
        let related = row.get("relatedResourceID");
        let animal = related.strip_prefix(URN).unwrap_or(related).to_owned();
        let (share, because) = read_remarks(row.get("relationshipRemarks"));
        let path = format!("parents[{}]", entry.life.parents.len());
        entry.note(path, row.place("relatedResourceID"));
        entry.life.parents.push(v1::LifeParent {
            animal,
            sex: sex.into(),
            share,
            because,
            ..Default::default()
        });
        Ok(())
    }

    fn event(&mut self, row: &Row<'_>) -> Result<(), Failure> {
        let (n, _) = self.owner_of(row)?;
        let zone = self.zone;
        let entry = &mut self.entries[n];
        let mut lived = v1::LifePlacement {
            enclosure: row.get("locality").to_owned(),
            kind: v1::EnclosureKind::of(row.get("habitat")).unwrap_or_default().into(),
            ..Default::default()
        };
        match read_span(row.get("eventDate")) {
            Ok((from, until)) => {
                (lived.from, lived.until) = (start(from, zone), until.and_then(|until| start(until, zone)));
            }
            Err(say) => {
                entry.wrong(
                    row.place("eventDate"),
                    say,
                    "write first and last instant, with a stroke between",
                );
            }
        }
        let path = format!("placements[{}]", entry.life.placements.len());
        entry.note(path.clone(), row.place("eventDate"));
        entry.note(format!("{path}.enclosure"), row.place("locality"));
        entry.life.placements.push(lived);
        Ok(())
    }
}

/// The instant of a point: where only the day is known, the first of the day in the zone.
fn start(point: Point, zone: Tz) -> Option<Timestamp> {
    let start = |day| holt_audit::zone::start_of_day(zone, day);
    let at: Option<DateTime<Utc>> = match point {
        Point::At(at) => Some(at),
        Point::On(day) => holt_proto::time::day_bounds(day).ok().map(|(first, _)| start(first)),
    };
    at.map(timestamp)
}

fn reading_of(
    row: &Row<'_>,
    kind: &str,
    value: &str,
    date: &str,
) -> Result<v1::Reading, (&'static str, String)> {
    let when = Point::read(date).map_err(|say| ("measurementDeterminedDate", say))?;
    let result = if kind == kind::TRIED {
        reading::Result::Tried(v1::Tried {})
    } else {
        let unit = row.get("measurementUnit");
        let unit = Unit::parse(unit).map_err(|error| ("measurementUnit", error.to_string()))?;
        let milligrams =
            mass::parse(value, Some(unit)).map_err(|error| ("measurementValue", error.to_string()))?;
        reading::Result::Mass(v1::Mass { milligrams })
    };
    let (method, scale) =
        read_method(row.get("measurementMethod")).map_err(|say| ("measurementMethod", say))?;
    Ok(v1::Reading {
        animal: String::new(),
        when: Some(match when {
            Point::At(at) => reading::When::WeighedAt(timestamp(at)),
            Point::On(day) => reading::When::WeighedOn(day),
        }),
        result: Some(result),
        scale,
        method: method.into(),
        note: row.get("measurementRemarks").to_owned(),
    })
}
