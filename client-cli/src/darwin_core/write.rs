//! Writing an archive.

use super::notation::{Point, grams, method, remarks, span};
use super::{
    BIRTH, DAM, DEATH, EVENTS, MEASUREMENTS, OCCURRENCES, RELATIONSHIPS, SIRE, Table, URN, kind, meta,
};
use crate::failure::Failure;
use crate::words::Word;
use chrono::{DateTime, Utc};
use csv::{Writer, WriterBuilder};
use holt_proto::v1::{self, reading};
use holt_proto::{time, v1::Life};
use prost_types::Timestamp;
use std::collections::HashMap;

/// A file of an archive, with its rows counted.
pub(crate) struct Written {
    pub(crate) file: &'static str,
    pub(crate) rows: usize,
    pub(crate) text: String,
}

/// The files of the archive of a site's animals.
pub(crate) fn archive(site: &str, lives: &[Life]) -> Result<Vec<Written>, Failure> {
    let ids: HashMap<&str, &str> =
        lives.iter().map(|life| (life.accession.as_str(), life.id.as_str())).collect();
    let mut files = Files {
        site,
        ids,
        occurrences: Csv::new(&OCCURRENCES)?,
        measurements: Csv::new(&MEASUREMENTS)?,
        relationships: Csv::new(&RELATIONSHIPS)?,
        events: Csv::new(&EVENTS)?,
    };
    for life in lives {
        files.life(life)?;
    }
    let metafile = Written { file: meta::FILE, rows: 0, text: meta::text() };
    Ok(vec![
        metafile,
        files.occurrences.done()?,
        files.measurements.done()?,
        files.relationships.done()?,
        files.events.done()?,
    ])
}

/// A file on its way.
struct Csv {
    file: &'static str,
    rows: usize,
    writer: Writer<Vec<u8>>,
}

fn unwritten(error: &csv::Error) -> Failure {
    Failure::machine(format!("the archive cannot be written: {error}"), "report this to whoever runs Holt")
}

impl Csv {
    fn new(table: &Table) -> Result<Self, Failure> {
        let mut writer = WriterBuilder::new().from_writer(Vec::new());
        writer.write_record(table.columns).map_err(|error| unwritten(&error))?;
        Ok(Self { file: table.file, rows: 0, writer })
    }

    fn row<const N: usize>(&mut self, fields: [&str; N]) -> Result<(), Failure> {
        self.rows += 1;
        self.writer.write_record(fields).map_err(|error| unwritten(&error))
    }

    fn done(self) -> Result<Written, Failure> {
        let bytes = self.writer.into_inner().map_err(|error| unwritten(&error.into_error().into()))?;
        let text = String::from_utf8(bytes)
            .map_err(|_| Failure::machine("the archive is not text", "report this to whoever runs Holt"))?;
        Ok(Written { file: self.file, rows: self.rows, text })
    }
}

/// The files on their way.
struct Files<'a> {
    site: &'a str,
    /// Identifiers by accession.
    ids: HashMap<&'a str, &'a str>,
    occurrences: Csv,
    measurements: Csv,
    relationships: Csv,
    events: Csv,
}

/// A row of `measurement.csv`.
#[derive(Default)]
struct Measurement<'m> {
    stay: usize,
    kind: &'m str,
    value: &'m str,
    accuracy: &'m str,
    unit: &'m str,
    date: &'m str,
    method: &'m str,
    remarks: &'m str,
}

/// When a stay began, to tell to which one belongs what was at a time.
fn began(stay: &v1::Stay) -> Option<DateTime<Utc>> {
    let at = stay.began_at.and_then(|at| time::instant(at).ok());
    let day = stay.began_on.and_then(|day| time::whole_day(day).ok());
    at.or(day.and_then(|day| day.and_hms_opt(0, 0, 0)).map(|at| at.and_utc()))
}

/// The last stay that had begun by then; the first where none had.
fn stay_at(life: &Life, at: Option<DateTime<Utc>>) -> usize {
    let begun = |stay: &v1::Stay| at.is_some_and(|at| began(stay).is_some_and(|began| began <= at));
    life.stays.iter().rposition(begun).unwrap_or_default()
}

fn instant(at: Option<Timestamp>) -> Option<DateTime<Utc>> {
    at.and_then(|at| time::instant(at).ok())
}

impl Files<'_> {
    fn life(&mut self, life: &Life) -> Result<(), Failure> {
        let organism = format!("{URN}{}", life.id);
        let stays: Vec<String> = (1..=life.stays.len()).map(|n| format!("{organism}#stay-{n}")).collect();
        let in_force = |kind: v1::MarkKind| {
            let marks = life.marks.iter().filter(move |worn| worn.until.is_none());
            marks.filter_map(|worn| worn.mark.as_ref()).filter(move |mark| mark.kind() == kind)
        };
        let name =
            in_force(v1::MarkKind::HouseName).next_back().map(|mark| mark.code.as_str()).unwrap_or_default();
        let numbers: Vec<_> = in_force(v1::MarkKind::FormerNumber).map(|mark| mark.code.as_str()).collect();
        let owner = if life.owner.is_empty() { self.site } else { &life.owner };
        let sex = life.sexes.last().map(|since| since.sex().word()).unwrap_or_default();
        for (n, stay) in life.stays.iter().enumerate() {
            let vitality = match stay.ended() {
                v1::StayEnd::Death => "dead",
                v1::StayEnd::Unspecified => "alive",
                v1::StayEnd::Departure => "",
            };
            let dates =
                span(Point::of(stay.began_on, stay.began_at), Point::of(stay.ended_on, stay.ended_at));
            self.occurrences.row([
                &stays[n],
                "LivingSpecimen",
                "present",
                &organism,
                name,
                "multicellular organism",
                self.site,
                owner,
                &life.accession,
                &numbers.join(" | "),
                &life.taxon,
                &life.common_name,
                sex,
                vitality,
                &dates,
            ])?;
        }
        let mut rows = Rows { organism: &organism, stays: &stays, count: 0, csv: &mut self.measurements };
        facts(life, &mut rows)?;
        readings(life, &mut rows)?;
        for (n, parent) in life.parents.iter().enumerate() {
            let Some(id) = self.ids.get(parent.animal.as_str()) else { continue };
            let is = if parent.sex() == v1::Sex::Female { DAM } else { SIRE };
            let key = format!("{organism}#parent-{}", n + 1);
            let related = format!("{URN}{id}");
            let first = stays.first().map(String::as_str).unwrap_or_default();
            self.relationships.row([first, &key, &organism, &related, is, &remarks(parent)])?;
        }
        for (n, lived) in life.placements.iter().enumerate() {
            let from = instant(lived.from);
            let key = format!("{organism}#place-{}", n + 1);
            let dates = span(from.map(Point::At), instant(lived.until).map(Point::At));
            let stay = stays.get(stay_at(life, from)).map(String::as_str).unwrap_or_default();
            self.events.row([stay, &key, &dates, &lived.enclosure, lived.kind().word()])?;
        }
        Ok(())
    }
}

/// Rows of `measurement.csv` about one animal.
struct Rows<'r> {
    organism: &'r str,
    stays: &'r [String],
    count: usize,
    csv: &'r mut Csv,
}

impl Rows<'_> {
    fn add(&mut self, row: &Measurement<'_>) -> Result<(), Failure> {
        self.count += 1;
        let key = format!("{}#{}", self.organism, self.count);
        let stay = self.stays.get(row.stay).map(String::as_str).unwrap_or_default();
        self.csv.row([
            stay,
            &key,
            row.kind,
            row.value,
            row.accuracy,
            row.unit,
            row.date,
            row.method,
            row.remarks,
        ])
    }
}

fn facts(life: &Life, rows: &mut Rows<'_>) -> Result<(), Failure> {
    if let Some(born) = life.born_on {
        let accuracy = if life.born_estimated { "estimate" } else { "" };
        let (kind, value) = (kind::BORN, born.to_string());
        rows.add(&Measurement { kind, value: &value, accuracy, ..Measurement::default() })?;
    }
    for since in &life.sexes {
        let date = since.determined_on.map(|day| day.to_string()).unwrap_or_default();
        let (kind, value) = (kind::SEX, since.sex().word());
        rows.add(&Measurement { kind, value, date: &date, ..Measurement::default() })?;
    }
    for (n, stay) in life.stays.iter().enumerate() {
        let value = if stay.began() == v1::StayBeginning::Birth { BIRTH } else { stay.source().word() };
        let coming = Measurement { stay: n, kind: kind::COMING, value, ..Measurement::default() };
        rows.add(&Measurement { remarks: &stay.source_name, ..coming })?;
        let leaving = Measurement { stay: n, kind: kind::LEAVING, ..Measurement::default() };
        match stay.ended() {
            v1::StayEnd::Unspecified => {}
            v1::StayEnd::Death => rows.add(&Measurement {
                value: DEATH,
                method: stay.manner().word(),
                remarks: &stay.note,
                ..leaving
            })?,
            v1::StayEnd::Departure => rows.add(&Measurement {
                value: stay.destination().word(),
                remarks: &stay.destination_name,
                ..leaving
            })?,
        }
    }
    for worn in &life.marks {
        let Some(mark) = &worn.mark else { continue };
        let from = instant(worn.from);
        let date = span(from.map(Point::At), instant(worn.until).map(Point::At));
        rows.add(&Measurement {
            stay: stay_at(life, from),
            kind: &format!("{}{}", kind::MARK, mark.kind().word()),
            value: &mark.code,
            date: &date,
            method: &mark.place_on_body,
            remarks: &worn.ended_why,
            ..Measurement::default()
        })?;
    }
    Ok(())
}

fn readings(life: &Life, rows: &mut Rows<'_>) -> Result<(), Failure> {
    for weighed in &life.readings {
        let Some(reading) = &weighed.reading else { continue };
        let point = match reading.when {
            Some(reading::When::WeighedAt(at)) => Point::of(None, Some(at)),
            Some(reading::When::WeighedOn(day)) => Some(Point::On(day)),
            None => None,
        };
        let at = match point {
            Some(Point::At(at)) => Some(at),
            Some(Point::On(day)) => {
                // The end of the day: it belongs to a stay that began on it.
                let day = time::whole_day(day).ok().and_then(|day| day.and_hms_opt(23, 59, 59));
                day.map(|at| at.and_utc())
            }
            None => None,
        };
        let (kind, value, unit) = match reading.result {
            Some(reading::Result::Mass(mass)) => {
                let kind = if weighed.doubtful { kind::DOUBTFUL } else { kind::MASS };
                (kind, grams(mass.milligrams), "g")
            }
            _ => (kind::TRIED, "declined the scale".to_owned(), ""),
        };
        rows.add(&Measurement {
            stay: stay_at(life, at),
            kind,
            value: &value,
            unit,
            date: &point.map(Point::text).unwrap_or_default(),
            method: &method(reading),
            remarks: &reading.note,
            ..Measurement::default()
        })?;
    }
    Ok(())
}
