//! How times, masses and methods are written in an archive.

use crate::words::Word;
use chrono::{DateTime, SecondsFormat, Utc};
use holt_proto::v1::{self, Day};
use holt_proto::{time, v1::WeighingMethod};
use prost_types::Timestamp;

/// A day, or an instant where it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Point {
    On(Day),
    At(DateTime<Utc>),
}

impl Point {
    /// The instant where there is one, else the day.
    pub(super) fn of(day: Option<Day>, at: Option<Timestamp>) -> Option<Self> {
        at.and_then(|at| time::instant(at).ok()).map(Self::At).or(day.map(Self::On))
    }

    pub(super) fn text(self) -> String {
        match self {
            Self::On(day) => day.to_string(),
            Self::At(at) => at.to_rfc3339_opts(SecondsFormat::AutoSi, true),
        }
    }

    pub(super) fn read(text: &str) -> Result<Self, String> {
        if let Ok(at) = DateTime::parse_from_rfc3339(text) {
            return Ok(Self::At(at.with_timezone(&Utc)));
        }
        text.parse()
            .map(Self::On)
            .map_err(|_| format!("`{text}` is neither a day nor an instant of ISO 8601"))
    }
}

/// A stretch of time that ended, `from/until`, or one that lasts, `from`.
pub(super) fn span(from: Option<Point>, until: Option<Point>) -> String {
    let from = from.map(Point::text).unwrap_or_default();
    until.map_or_else(|| from.clone(), |until| format!("{from}/{}", until.text()))
}

pub(super) fn read_span(text: &str) -> Result<(Point, Option<Point>), String> {
    match text.split_once('/') {
        Some((from, until)) => Ok((Point::read(from)?, Some(Point::read(until)?))),
        None => Ok((Point::read(text)?, None)),
    }
}

/// Grams, to the milligram.
pub(super) fn grams(milligrams: i64) -> String {
    let (whole, rest) = (milligrams / 1000, milligrams % 1000);
    if rest == 0 { whole.to_string() } else { format!("{whole}.{rest:03}").trim_end_matches('0').to_owned() }
}

/// How it was weighed, and on what: `trained on platform`.
pub(super) fn method(reading: &v1::Reading) -> String {
    match (reading.method().word(), reading.scale.as_str()) {
        (method, "") => method.to_owned(),
        ("", scale) => format!("on {scale}"),
        (method, scale) => format!("{method} on {scale}"),
    }
}

pub(super) fn read_method(text: &str) -> Result<(WeighingMethod, String), String> {
    let (method, scale) = match text.split_once(" on ") {
        _ if text.is_empty() => return Ok((WeighingMethod::Unspecified, String::new())),
        _ if text.starts_with("on ") => ("", &text[3..]),
        Some((method, scale)) => (method, scale),
        None => (text, ""),
    };
    if method.is_empty() {
        return Ok((WeighingMethod::Unspecified, scale.to_owned()));
    }
    let known =
        WeighingMethod::of(method).ok_or_else(|| format!("`{method}` is not a method of weighing"))?;
    Ok((known, scale.to_owned()))
}

/// How likely a sire is the one, and why a parent is right that does not fit.
pub(super) fn remarks(parent: &v1::LifeParent) -> String {
    if (parent.share - 1.0).abs() < f64::EPSILON {
        return parent.because.clone();
    }
    let because = if parent.because.is_empty() { String::new() } else { format!(": {}", parent.because) };
    format!("share {}{because}", parent.share)
}

pub(super) fn read_remarks(text: &str) -> (f64, String) {
    let Some(rest) = text.strip_prefix("share ") else { return (1.0, text.to_owned()) };
    let (share, because) = rest.split_once(':').unwrap_or((rest, ""));
    share.trim().parse().map_or_else(|_| (1.0, text.to_owned()), |share| (share, because.trim().to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use holt_proto::notation::mass::{self, Unit};
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn grams_are_read_as_they_were_written(milligrams in 1..20_000_000_000_i64) {
            prop_assert_eq!(mass::parse(&grams(milligrams), Some(Unit::G)), Ok(milligrams));
        }

        #[test]
        fn methods_are_read_as_they_were_written(n in 0..6_usize, scale in "[a-z][a-z0-9 ]{0,20}[a-z]|") {
            let methods: Vec<_> = WeighingMethod::ALL.iter().map(|(_, method)| *method).collect();
            let method = methods.get(n).copied().unwrap_or_default();
            let reading = v1::Reading { method: method.into(), scale: scale.clone(), ..Default::default() };
            prop_assert_eq!(read_method(&super::method(&reading)), Ok((method, scale)));
        }

        #[test]
        fn remarks_are_read_as_they_were_written(share in 0.01..=1.0_f64, because in "([A-Za-z][A-Za-z :,]{0,30}[a-z])?") {
            let parent = v1::LifeParent { share, because: because.clone(), ..Default::default() };
            prop_assert_eq!(read_remarks(&remarks(&parent)), (share, because));
        }
    }

    #[test]
    fn times_are_read_as_they_were_written() {
        for text in ["2025", "2025-03", "2025-03-01", "2025-03-01T16:20:00Z", "2025-03-01T16:20:00.000001Z"] {
            assert_eq!(Point::read(text).unwrap().text(), text);
        }
        for text in ["2025-03-01", "2025-03-01/2026-02-01T09:00:00Z"] {
            let (from, until) = read_span(text).unwrap();
            assert_eq!(span(Some(from), until), text);
        }
        for text in ["", "soon", "2025-03-01/", "2025-13-01", "2025-03-01 16:20"] {
            assert!(read_span(text).is_err(), "{text}");
        }
    }
}
