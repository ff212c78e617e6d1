//! From the wire: every field that is not of its form is told at once. What any field may hold at most stands here,
//! and once more, as the last guard, in the migrations (`0090_bounds.sql`).

use crate::api::status;
use crate::model::animal::Born;
use crate::model::exchange::Flaw;
use crate::model::holding::When;
use crate::model::mark::{MarkKind, NewMark};
use crate::model::moment::Moment;
use crate::model::person::{Grant, Role};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Violation};
use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, Utc};
use holt_audit::terms::Sex;
use holt_proto::notation::text::{self, Lines, clipped};
use holt_proto::notation::{accession, mark};
use holt_proto::time;
use holt_proto::v1;
use prost::Message;
use prost_types::Timestamp;
use sha2::{Digest, Sha256};
use std::ops::RangeInclusive;
use tonic::Status;
use uuid::Uuid;

/// Years that anything on record may be of, or be planned for: no park's books begin before them.
const YEARS: RangeInclusive<i32> = 1800..=2199;

/// A text that may be as long as this is a note, and may have lines.
const NOTE: usize = 500;

/// Closer to 0 than this, a number is 0 to every instrument.
const LEAST: f64 = 1e-9;

/// A whole number in a document, such as a version.
const MOST_IN_DOCUMENT: u64 = 1_000_000;

/// A parent that is less likely than this is none.
pub(crate) const LEAST_SHARE: f64 = 1e-6;

/// What is quoted of a text that is not of its form.
const QUOTED: usize = 100;

/// A text that was sent, as it may be quoted: what is long or does not show would hurt whoever reads it.
pub(crate) fn quoted(text: &str) -> String {
    let shown: String = text.chars().take(QUOTED + 1).flat_map(char::escape_debug).collect();
    clipped(&shown, QUOTED).into_owned()
}

/// A number, as short as it can be told.
fn figure(value: f64) -> String {
    if value == 0.0 || (1e-4..1e9).contains(&value.abs()) { value.to_string() } else { format!("{value:e}") }
}

/// Whether anything on record may be of this year.
pub(crate) fn is_of_time(year: i32) -> bool {
    YEARS.contains(&year)
}

/// A text as it is kept; or what is wrong with it, and what to do instead.
pub(crate) fn plain(text: &str, characters: RangeInclusive<usize>) -> Result<String, (String, String)> {
    let count = text.trim().chars().count();
    let (least, most) = (*characters.start(), *characters.end());
    if count == 0 && least > 0 {
        return Err(("is missing".to_owned(), "fill it in".to_owned()));
    }
    if !characters.contains(&count) {
        return Err((format!("has {count} characters"), format!("give {least} to {most}")));
    }
    let lines = if most >= NOTE { Lines::Many } else { Lines::One };
    match text::clean(text, lines) {
        Ok(text) => Ok(text.into_owned()),
        Err(error) => Err((error.to_string(), error.mend().to_owned())),
    }
}

/// Reads the fields of a message and collects what is wrong with them.
#[derive(Default)]
pub(crate) struct Form {
    violations: Vec<Violation>,
    /// How many of them are codes that no transponder carries.
    transponders: usize,
}

impl Form {
    pub(crate) fn new() -> Self {
        Self::default()
    }

    pub(crate) fn wrong(&mut self, field: &str, say: impl Into<String>, mend: impl Into<String>) {
        self.violations.push(Violation { field: field.to_owned(), say: say.into(), mend: mend.into() });
    }

    /// What is wrong so far, each on its own: where that of one thing does not touch others.
    pub(crate) fn flaws(self) -> Vec<Flaw> {
        let flaw = |Violation { field, say, mend }| Flaw { reason: Reason::Malformed, field, say, mend };
        self.violations.into_iter().map(flaw).collect()
    }

    /// What is wrong, if anything is.
    pub(crate) fn done(self) -> Result<(), Status> {
        let (all, transponders) = (self.violations.len(), self.transponders);
        if all == 0 {
            return Ok(());
        }
        let malformed = Refusal::malformed(self.violations);
        let reason = if transponders == all { Reason::TransponderMalformed } else { malformed.reason };
        Err(status::refused(Refusal { reason, ..malformed }))
    }

    /// The identity of a write: its request id and what it says.
    pub(crate) fn request(
        &mut self,
        method: &'static str,
        id: &str,
        message: &impl Message,
        validate_only: bool,
    ) -> Request {
        let id = match id.parse::<Uuid>() {
            Ok(id) if !id.is_nil() => id,
            _ => {
                self.wrong("request_id", "is not a UUID", "make a fresh UUID for each new request");
                Uuid::nil()
            }
        };
        let digest = Sha256::new()
            .chain_update(method)
            .chain_update([0])
            .chain_update(message.encode_to_vec())
            .finalize()
            .into();
        Request { id, method, digest, validate_only }
    }

    pub(crate) fn uuid(&mut self, field: &str, text: &str) -> Uuid {
        text.parse().unwrap_or_else(|_| {
            self.wrong(
                field,
                format!("`{}` is not a UUID", quoted(text)),
                "give the identifier as the server returned it",
            );
            Uuid::nil()
        })
    }

    /// Code of a site.
    pub(crate) fn site(&mut self, field: &str, text: &str) -> String {
        if !accession::is_site_code(text) {
            self.wrong(
                field,
                format!("`{}` is not a site code", quoted(text)),
                "give three capital letters, such as `QUI`",
            );
        }
        text.to_owned()
    }

    /// Code of a site, or nothing.
    pub(crate) fn optional_site(&mut self, field: &str, text: &str) -> String {
        if text.is_empty() { String::new() } else { self.site(field, text) }
    }

    /// A text of so many characters, as it is kept.
    pub(crate) fn text(&mut self, field: &str, text: &str, characters: RangeInclusive<usize>) -> String {
        plain(text, characters).unwrap_or_else(|(say, mend)| {
            self.wrong(field, say, mend);
            String::new()
        })
    }

    /// The version of a document that is named; 0 where none is.
    pub(crate) fn version_of(&mut self, field: &str, version: i32) -> i32 {
        if version < 0 {
            self.wrong(field, "is less than 0", "give a version, or 0 for the one by which the site works");
        }
        version
    }

    /// A document in TOML. What its texts and numbers say is the matter of whoever reads it; that they can be kept
    /// and shown is asked here.
    pub(crate) fn document(&mut self, field: &str, text: &str) -> String {
        let text = self.text(field, text, 1..=200_000);
        // What is no document at all is told by whoever reads it, who knows what belongs into it.
        if let Ok(table) = text.parse::<toml::Table>() {
            self.document_part(field, &toml::Value::Table(table));
        }
        text
    }

    fn document_part(&mut self, at: &str, part: &toml::Value) {
        match part {
            toml::Value::String(text) => match plain(text, 0..=10_000) {
                Ok(kept) if kept == text.trim() => {}
                // It is kept as the document has it, so its escapes must spell what is kept.
                Ok(_) => self.wrong(
                    at,
                    "has a letter and its accent as two characters",
                    "write them as one character",
                ),
                Err((say, mend)) => self.wrong(at, say, mend),
            },
            toml::Value::Integer(number) => {
                if number.unsigned_abs() > MOST_IN_DOCUMENT {
                    self.wrong(at, format!("is {number}"), format!("give {MOST_IN_DOCUMENT} at most"));
                }
            }
            toml::Value::Float(number) => {
                self.number(at, *number, -1e9..=1e9, "");
                if *number != 0.0 && number.abs() < LEAST {
                    self.wrong(at, format!("is {}", figure(*number)), "give 0, or a larger number");
                }
            }
            toml::Value::Array(parts) => {
                for (n, part) in parts.iter().enumerate() {
                    self.document_part(&format!("{at}[{n}]"), part);
                }
            }
            toml::Value::Table(parts) => {
                for (name, part) in parts {
                    self.text(at, name, 0..=100);
                    self.document_part(&format!("{at}.{}", quoted(name)), part);
                }
            }
            toml::Value::Boolean(_) | toml::Value::Datetime(_) => {}
        }
    }

    /// A number within a range, with its unit as it follows the number (` kcal`).
    pub(crate) fn number(&mut self, field: &str, value: f64, range: RangeInclusive<f64>, unit: &str) -> f64 {
        let (least, most) = (range.start(), range.end());
        if !range.contains(&value) {
            self.wrong(field, format!("is {}", figure(value)), format!("give {least} to {most}{unit}"));
            return 0.0;
        }
        // Below 0 by nothing, as some clients write it, is 0.
        if value.abs() < LEAST { 0.0 } else { value }
    }

    /// A reference to an animal.
    pub(crate) fn animal(&mut self, field: &str, text: &str) -> String {
        self.text(field, text, 1..=100)
    }

    /// References to animals, 1 to 500.
    pub(crate) fn animals(&mut self, field: &str, texts: &[String]) -> Vec<String> {
        if !(1..=500).contains(&texts.len()) {
            self.wrong(field, format!("names {} animals", texts.len()), "name 1 to 500");
        }
        texts.iter().enumerate().map(|(n, text)| self.animal(&format!("{field}[{n}]"), text)).collect()
    }

    pub(crate) fn instant(&mut self, field: &str, wire: Option<Timestamp>) -> Option<DateTime<Utc>> {
        match time::instant(wire?) {
            Ok(at) if YEARS.contains(&at.year()) => Some(at),
            Ok(at) => {
                self.out_of_time(field, at.year());
                None
            }
            Err(error) => {
                self.wrong(field, error.to_string(), "give a time between the years 1 and 9999");
                None
            }
        }
    }

    fn out_of_time(&mut self, field: &str, year: i32) {
        let (first, last) = (YEARS.start(), YEARS.end());
        self.wrong(field, format!("is in the year {year}"), format!("give a year from {first} to {last}"));
    }

    /// When something was: the instant of `…_at`, or the day of `…_on`; not both.
    pub(crate) fn moment(
        &mut self,
        name: &str,
        at: Option<Timestamp>,
        on: Option<v1::Day>,
    ) -> Option<Moment> {
        let (at_field, on_field) = (format!("{name}_at"), format!("{name}_on"));
        if at.is_some() && on.is_some() {
            self.wrong(&on_field, "is given together with the instant", "give one of the two");
        }
        let instant = self.instant(&at_field, at).map(Moment::At);
        instant.or_else(|| self.optional_day(&on_field, on).map(Moment::On))
    }

    /// A whole day, or none.
    pub(crate) fn optional_day(&mut self, field: &str, wire: Option<v1::Day>) -> Option<NaiveDate> {
        match time::whole_day(wire?) {
            Ok(day) if YEARS.contains(&day.year()) => Some(day),
            Ok(day) => {
                self.out_of_time(field, day.year());
                None
            }
            Err(error) => {
                self.wrong(field, error.to_string(), "give a whole day, such as 2026-11-25");
                None
            }
        }
    }

    /// A time of the day: `07:00`.
    pub(crate) fn time_of_day(&mut self, field: &str, text: &str) -> NaiveTime {
        NaiveTime::parse_from_str(text, "%H:%M").unwrap_or_else(|_| {
            let say = format!("`{}` is not a time of the day", quoted(text));
            self.wrong(field, say, "write it as hours and minutes: 07:00");
            NaiveTime::MIN
        })
    }

    /// A whole day.
    pub(crate) fn day(&mut self, field: &str, wire: Option<v1::Day>) -> NaiveDate {
        if wire.is_none() {
            self.wrong(field, "is missing", "give a whole day, such as 2026-11-25");
        }
        self.optional_day(field, wire).unwrap_or_default()
    }

    /// A day that something happened on, with its instant where that is known.
    pub(crate) fn when(
        &mut self,
        day_field: &str,
        day: Option<v1::Day>,
        at_field: &str,
        at: Option<Timestamp>,
    ) -> When {
        When { day: self.day(day_field, day), at: self.instant(at_field, at) }
    }

    pub(crate) fn days(&mut self, field: &str, wire: Option<v1::DaySpan>) -> Option<(NaiveDate, NaiveDate)> {
        let span = wire?;
        let first = self.day(&format!("{field}.first"), span.first);
        let last = self.day(&format!("{field}.last"), span.last);
        if first > last {
            self.wrong(field, "ends before it begins", "exchange the two days");
        }
        Some((first, last))
    }

    /// A day of birth, or as much of it as is known.
    pub(crate) fn born(&mut self, field: &str, wire: Option<v1::Day>, estimated: bool) -> Option<Born> {
        self.part_of_day(field, wire).map(|(first, last)| Born { first, last, estimated })
    }

    /// First and last day of a day, or of as much of one as is known.
    pub(crate) fn part_of_day(
        &mut self,
        field: &str,
        wire: Option<v1::Day>,
    ) -> Option<(NaiveDate, NaiveDate)> {
        match time::day_bounds(wire?) {
            Ok(days) if YEARS.contains(&days.0.year()) => Some(days),
            Ok(days) => {
                self.out_of_time(field, days.0.year());
                None
            }
            Err(error) => {
                self.wrong(field, error.to_string(), "give a day, a month or a year, such as 2019-05");
                None
            }
        }
    }

    /// A value of an enumeration, where one must be given.
    pub(crate) fn choice<T>(&mut self, field: &str, choice: Option<T>, choices: &str, otherwise: T) -> T {
        choice.unwrap_or_else(|| {
            self.wrong(field, "is missing or unknown", format!("choose one of {choices}"));
            otherwise
        })
    }

    pub(crate) fn sex(&mut self, field: &str, wire: i32) -> Sex {
        let sex = match v1::Sex::try_from(wire) {
            Ok(v1::Sex::Male) => Some(Sex::Male),
            Ok(v1::Sex::Female) => Some(Sex::Female),
            Ok(v1::Sex::Unknown) => Some(Sex::Unknown),
            Ok(v1::Sex::Unspecified) | Err(_) => None,
        };
        self.choice(field, sex, "male, female, unknown", Sex::Unknown)
    }

    pub(crate) fn grant(&mut self, field: &str, wire: Option<&v1::Grant>) -> Grant {
        let Some(wire) = wire else {
            self.wrong(field, "is missing", "give a role and a site");
            return Grant { role: Role::Auditor, site: None };
        };
        let role = match v1::Role::try_from(wire.role) {
            Ok(v1::Role::Keeper) => Some(Role::Keeper),
            Ok(v1::Role::Registrar) => Some(Role::Registrar),
            Ok(v1::Role::Auditor) => Some(Role::Auditor),
            Ok(v1::Role::Veterinary) => Some(Role::Veterinary),
            Ok(v1::Role::Steward) => Some(Role::Steward),
            Ok(v1::Role::Curator) => Some(Role::Curator),
            Ok(v1::Role::Unspecified) | Err(_) => None,
        };
        let roles = "keeper, registrar, auditor, veterinary, steward, curator";
        let role = self.choice(&format!("{field}.role"), role, roles, Role::Auditor);
        let site = if wire.every_site {
            if !wire.site.is_empty() {
                self.wrong(field, "names a site and every site", "give one of the two");
            }
            None
        } else {
            Some(self.site(&format!("{field}.site"), &wire.site))
        };
        Grant { role, site }
    }

    pub(crate) fn mark(&mut self, field: &str, wire: Option<&v1::NewMark>) -> NewMark {
        let Some(wire) = wire else {
            self.wrong(field, "is missing", "give its kind and its code");
            let (code, place_on_body, issuer) = Default::default();
            return NewMark { kind: MarkKind::Natural, code, place_on_body, issuer };
        };
        let kind = match v1::MarkKind::try_from(wire.kind) {
            Ok(v1::MarkKind::Transponder) => Some(MarkKind::Transponder),
            Ok(v1::MarkKind::Ring) => Some(MarkKind::Ring),
            Ok(v1::MarkKind::Tattoo) => Some(MarkKind::Tattoo),
            Ok(v1::MarkKind::EarNotch) => Some(MarkKind::EarNotch),
            Ok(v1::MarkKind::Natural) => Some(MarkKind::Natural),
            Ok(v1::MarkKind::HouseName) => Some(MarkKind::HouseName),
            Ok(v1::MarkKind::FormerNumber) => Some(MarkKind::FormerNumber),
            Ok(v1::MarkKind::Unspecified) | Err(_) => None,
        };
        let kinds = "transponder, ring, tattoo, ear notch, natural, house name, former number";
        let kind = self.choice(&format!("{field}.kind"), kind, kinds, MarkKind::Natural);
        let mut code = self.text(&format!("{field}.code"), &wire.code, 1..=100);
        let mut issuer = String::new();
        if kind == MarkKind::Transponder && !code.is_empty() {
            match mark::parse(&code) {
                Ok(transponder) => {
                    issuer = transponder.issuer.to_string();
                    code = transponder.code;
                }
                Err(error) => {
                    self.transponders += 1;
                    self.wrong(&format!("{field}.code"), error.to_string(), error.mend());
                }
            }
        }
        let place_on_body = self.text(&format!("{field}.place_on_body"), &wire.place_on_body, 0..=100);
        NewMark { kind, code, place_on_body, issuer }
    }

    pub(crate) fn marks(&mut self, field: &str, wire: &[v1::NewMark]) -> Vec<NewMark> {
        wire.iter().enumerate().map(|(n, mark)| self.mark(&format!("{field}[{n}]"), Some(mark))).collect()
    }
}
