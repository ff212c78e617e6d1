//! What is shown of each concept: as JSON, as a flat line, and to people. One file each.
//!
//! The fields of these structs, and their names, are a contract with whoever reads JSON and CSV: units
//! stand in names, times are RFC 3339 with the offset of the site, days are ISO 8601 as far as known,
//! and what is not there is `null` or empty.

pub(crate) mod agreement;
pub(crate) mod amendment;
pub(crate) mod animal;
pub(crate) mod archive;
pub(crate) mod assessment;
pub(crate) mod check;
pub(crate) mod climate;
pub(crate) mod concern;
pub(crate) mod condition;
pub(crate) mod course;
pub(crate) mod coverage;
pub(crate) mod crate_reading;
pub(crate) mod document;
pub(crate) mod due;
pub(crate) mod enclosure;
pub(crate) mod encounter;
pub(crate) mod enrichment;
pub(crate) mod ethogram;
pub(crate) mod fact;
pub(crate) mod feeding;
pub(crate) mod find;
pub(crate) mod group;
pub(crate) mod group_day;
pub(crate) mod growth;
pub(crate) mod growth_chart;
pub(crate) mod intake;
pub(crate) mod kinship;
pub(crate) mod ledger;
pub(crate) mod life_state;
pub(crate) mod litter;
pub(crate) mod loan;
pub(crate) mod mark;
pub(crate) mod packet;
pub(crate) mod paper;
pub(crate) mod partner;
pub(crate) mod person;
pub(crate) mod placement;
pub(crate) mod proposal;
pub(crate) mod protocol;
pub(crate) mod replay;
pub(crate) mod report;
pub(crate) mod round;
mod row;
pub(crate) mod settings;
pub(crate) mod site;
pub(crate) mod species;
pub(crate) mod standard;
pub(crate) mod standing;
pub(crate) mod stock_entry;
pub(crate) mod stock_return;
pub(crate) mod today;
pub(crate) mod transfer;
pub(crate) mod unassessed;
pub(crate) mod upset;
pub(crate) mod waiting;
pub(crate) mod watch;
pub(crate) mod watched;
pub(crate) mod weight;
pub(crate) mod weight_chart;
pub(crate) mod written;

use crate::moment;
use crate::output::{Answer, Page};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::notation::mass;
use holt_proto::{time, v1};
use prost_types::Timestamp;
use serde::ser::{Serialize, SerializeMap, Serializer};

/// Something of which there are many.
pub(crate) trait Thing: Serialize {
    /// What many of them are called, as the key of the JSON list.
    const MANY: &'static str;
    /// What it is and is not, told to people with it; most things need none.
    const CAUTION: &'static str = "";
    /// A line of `plain` and `csv`.
    type Row: Serialize + Default;

    fn row(&self) -> Self::Row;

    /// Many of them, for people.
    fn table(things: &[Self], page: &mut Page)
    where
        Self: Sized;
}

/// Many things of a kind.
pub(crate) struct Many<T>(pub(crate) Vec<T>);

impl<T: Thing> Serialize for Many<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(1))?;
        map.serialize_entry(T::MANY, &self.0)?;
        map.end()
    }
}

impl<T: Thing> Answer for Many<T> {
    type Row = T::Row;

    fn rows(&self) -> Vec<T::Row> {
        self.0.iter().map(T::row).collect()
    }

    fn page(&self, page: &mut Page) {
        if self.0.is_empty() {
            page.line(&format!("No {}.", T::MANY));
        } else {
            T::table(&self.0, page);
            page.remark(T::CAUTION);
        }
    }
}

/// One thing that was written, and the sentence that says so.
pub(crate) struct Told<T> {
    pub(crate) thing: T,
    pub(crate) say: String,
}

impl<T> Told<T> {
    /// What `say` says of it, unless it was only checked.
    pub(crate) fn new(thing: T, check_only: bool, say: impl FnOnce(&T) -> String) -> Self {
        let say = if check_only { CHECKED_ONLY.to_owned() } else { say(&thing) };
        Self { thing, say }
    }
}

impl<T: Thing> Serialize for Told<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.thing.serialize(serializer)
    }
}

impl<T: Thing> Answer for Told<T> {
    type Row = T::Row;

    fn rows(&self) -> Vec<T::Row> {
        vec![self.thing.row()]
    }

    fn page(&self, page: &mut Page) {
        page.line(&self.say);
        page.remark(T::CAUTION);
    }
}

/// Said in place of what was recorded, where nothing was.
pub(crate) const CHECKED_ONLY: &str = "Checked only: nothing was recorded.";

/// A text that is there.
fn some(text: String) -> Option<String> {
    (!text.is_empty()).then_some(text)
}

/// An instant, if it is there and is one.
fn instant(wire: Option<Timestamp>) -> Option<DateTime<Utc>> {
    wire.and_then(|wire| time::instant(wire).ok())
}

/// An instant for programs.
fn written(wire: Option<Timestamp>, zone: Tz) -> Option<String> {
    instant(wire).map(|at| moment::written(at, zone))
}

/// A day as far as it is known.
fn day(wire: Option<v1::Day>) -> Option<String> {
    wire.map(|day| day.to_string())
}

/// A mass for people.
fn spoken_mass(mg: i64) -> String {
    mass::print(mg)
}

/// A mass for people, to three digits: what is expected is not known to the milligram.
fn about(mg: i64) -> String {
    let mut unit = 1;
    while mg / unit >= 1000 {
        unit *= 10;
    }
    mass::print((mg + unit / 2) / unit * unit)
}

/// To a tenth, which is more than is known of energies, shares and changes.
pub(crate) fn tenth(value: f64) -> f64 {
    // What rounds to nothing from below is nothing, and no -0.0.
    (value * 10.0).round() / 10.0 + 0.0
}

/// An animal as people name it: `Bramble (QUI-25-0001)`.
pub(crate) fn spoken(house_name: Option<&str>, accession: &str) -> String {
    match house_name {
        Some(name) => format!("{name} ({accession})"),
        None => accession.to_owned(),
    }
}

/// The end of an identifier, which is enough to tell it from its neighbours.
pub(crate) fn short(id: &str) -> &str {
    id.get(id.len().saturating_sub(8)..).unwrap_or(id)
}

/// The middle one; of two in the middle, what lies between them.
fn middle(mut masses: Vec<i64>) -> Option<i64> {
    masses.sort_unstable();
    let (upper, lower) = (masses.get(masses.len() / 2)?, masses.get(masses.len().saturating_sub(1) / 2)?);
    Some(lower + (upper - lower) / 2)
}

/// A number with its noun: `1 animal`, `3 animals`.
pub(crate) fn count(n: usize, one: &str, many: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_expected_is_told_to_three_digits() {
        for (mg, text) in [
            (7_904_998, "7.9 kg"),
            (7_254_428, "7.25 kg"),
            (8_613_912, "8.61 kg"),
            (412_345, "412 g"),
            (12_345, "12.3 g"),
            (999_600, "1 kg"),
            (999, "999 mg"),
            (0, "0 mg"),
        ] {
            assert_eq!(about(mg), text);
        }
    }
}
