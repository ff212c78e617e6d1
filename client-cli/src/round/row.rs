//! One row of a round file as a reading.

use super::Malformed;
use crate::moment::{When, WhenWord};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::notation::mass::{self, Unit};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::reading;

/// What holds of all rows.
#[derive(Clone, Copy)]
pub(crate) struct Terms {
    /// Zone of the site's days.
    pub(crate) zone: Tz,
    pub(crate) now: DateTime<Utc>,
    /// Unit of masses that are written without one.
    pub(crate) unit: Option<Unit>,
    /// Time of rows that have none.
    pub(crate) at: Option<When>,
}

/// The fields of a row, as they are written; empty where there is no such column.
#[derive(Clone, Copy, Default)]
pub(crate) struct Fields<'a> {
    pub(crate) animal: &'a str,
    pub(crate) mass: &'a str,
    pub(crate) at: &'a str,
    pub(crate) date: &'a str,
    pub(crate) time: &'a str,
    pub(crate) declined: &'a str,
    pub(crate) scale: &'a str,
    pub(crate) method: &'a str,
    pub(crate) note: &'a str,
}

/// The reading of a row, or why it is none.
pub(crate) fn reading(fields: Fields<'_>, terms: &Terms) -> Result<v1::Reading, Malformed> {
    if fields.animal.is_empty() {
        let mend = "name the animal by accession, transponder, ring or house name";
        return Err(Malformed::new("animal", "no animal named", mend));
    }
    Ok(v1::Reading {
        animal: fields.animal.to_owned(),
        result: Some(result(fields, terms)?),
        when: Some(when(fields, terms)?),
        scale: fields.scale.to_owned(),
        method: method(fields.method)?.into(),
        note: fields.note.to_owned(),
    })
}

/// A time as the contract holds it.
pub(crate) fn wire_when(when: When) -> reading::When {
    match when {
        When::At(at) => reading::When::WeighedAt(timestamp(at)),
        When::On(on) => reading::When::WeighedOn(day(on)),
    }
}

fn result(fields: Fields<'_>, terms: &Terms) -> Result<reading::Result, Malformed> {
    let declined = match fields.declined.to_ascii_lowercase().as_str() {
        "" | "no" | "n" | "false" | "0" => false,
        "yes" | "y" | "true" | "1" | "x" => true,
        other => {
            return Err(Malformed::new(
                "declined",
                format!("`{other}` is neither yes nor no"),
                "write yes or nothing",
            ));
        }
    };
    match (declined, fields.mass) {
        (true, "") => Ok(reading::Result::Tried(v1::Tried {})),
        (true, _) => Err(Malformed::new(
            "declined",
            "the animal declined the scale, but has a weight",
            "leave one of the two empty",
        )),
        (false, "") => Err(Malformed::new(
            "mass",
            "no weight",
            "write it with its unit, or yes in a column `declined` if the animal declined the scale",
        )),
        (false, text) => {
            let milligrams =
                mass::parse(text, terms.unit).map_err(|error| Malformed::of("mass", &error.to_string()))?;
            Ok(reading::Result::Mass(v1::Mass { milligrams }))
        }
    }
}

fn when(fields: Fields<'_>, terms: &Terms) -> Result<reading::When, Malformed> {
    let written = match (fields.at, fields.date, fields.time) {
        ("", "", "") => return terms.at.map(wire_when).ok_or_else(no_time),
        ("", "", _) => {
            return Err(Malformed::new("time", "a time without its day", "write the day as well"));
        }
        ("", date, "") => date.to_owned(),
        ("", date, time) => format!("{date} {time}"),
        (at, "", "") => at.to_owned(),
        _ => {
            return Err(Malformed::new("at", "the time is written twice", "use `at`, or `date` and `time`"));
        }
    };
    let column = if fields.at.is_empty() { "date" } else { "at" };
    let word: WhenWord =
        written.parse().map_err(|error: crate::moment::Unclear| Malformed::of(column, &error.to_string()))?;
    if word.is_relative() {
        return Err(Malformed::new(
            column,
            format!("`{written}` means another day tomorrow"),
            "write the day itself, such as 2026-11-25, so that the file always means the same",
        ));
    }
    let when = word
        .resolve(terms.zone, terms.now)
        .map_err(|error| Malformed::new(column, error.to_string(), error.mend()))?;
    Ok(wire_when(when))
}

fn no_time() -> Malformed {
    Malformed::new(
        "at",
        "no time given",
        "fill in `at`, or give one time for all rows without one: --at 2026-11-25",
    )
}

fn method(text: &str) -> Result<v1::WeighingMethod, Malformed> {
    if text.is_empty() {
        return Ok(v1::WeighingMethod::Unspecified);
    }
    v1::WeighingMethod::of(text).ok_or_else(|| {
        let known = v1::WeighingMethod::ALL.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(", ");
        Malformed::new(
            "method",
            format!("`{text}` is not a method"),
            format!("write one of {known}, or nothing"),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn terms() -> Terms {
        let now = DateTime::parse_from_rfc3339("2026-11-25T12:00:00Z").unwrap().with_timezone(&Utc);
        Terms { zone: Tz::Europe__Dublin, now, unit: None, at: None }
    }

    fn sound() -> Fields<'static> {
        Fields { animal: "Bramble", mass: "8.2kg", at: "2026-11-25 06:40", ..Fields::default() }
    }

    #[test]
    fn a_sound_row_is_a_reading() {
        let read = reading(Fields { method: "Trained", note: "wet", ..sound() }, &terms()).unwrap();
        assert_eq!(read.result, Some(reading::Result::Mass(v1::Mass { milligrams: 8_200_000 })));
        assert_eq!(read.method(), v1::WeighingMethod::Trained);
        let parts = Fields { at: "", date: "2026-11-25", time: "06:40", ..sound() };
        assert_eq!(reading(parts, &terms()).unwrap().when, read.when);
        let day = reading(Fields { at: "", date: "2026-11-25", ..sound() }, &terms()).unwrap();
        assert!(matches!(day.when, Some(reading::When::WeighedOn(_))), "{day:?}");
    }

    #[test]
    fn a_row_without_a_time_takes_that_of_the_round() {
        let row = Fields { at: "", ..sound() };
        assert_eq!(reading(row, &terms()).unwrap_err().column, "at");
        let on = Terms { at: Some(When::On("2026-11-24".parse().unwrap())), ..terms() };
        assert!(matches!(reading(row, &on).unwrap().when, Some(reading::When::WeighedOn(_))));
    }

    #[test]
    fn each_malformed_row_names_its_column_and_says_what_to_write() {
        for (row, column, say) in [
            (Fields { animal: "", ..sound() }, "animal", "no animal named"),
            (Fields { mass: "", ..sound() }, "mass", "no weight"),
            (Fields { mass: "8.2", ..sound() }, "mass", "`8.2` has no unit"),
            (Fields { mass: "8.2 stone", ..sound() }, "mass", "`stone` is not a unit of mass"),
            (
                Fields { declined: "yes", ..sound() },
                "declined",
                "the animal declined the scale, but has a weight",
            ),
            (Fields { declined: "perhaps", ..sound() }, "declined", "`perhaps` is neither yes nor no"),
            (Fields { method: "sling", ..sound() }, "method", "`sling` is not a method"),
            (Fields { date: "2026-11-25", ..sound() }, "at", "the time is written twice"),
            (Fields { at: "", time: "06:40", ..sound() }, "time", "a time without its day"),
            (Fields { at: "25/11/2026", ..sound() }, "at", "`25/11/2026` is not a time"),
            (Fields { at: "06:40", ..sound() }, "at", "`06:40` means another day tomorrow"),
            (
                Fields { at: "2026-03-29 01:30", ..sound() },
                "at",
                "2026-03-29 01:30 did not exist in Europe/Dublin: clocks were put forward over it",
            ),
        ] {
            let wrong = reading(row, &terms()).unwrap_err();
            assert_eq!((wrong.column, wrong.say.as_str()), (column, say));
            assert!(!wrong.mend.is_empty());
        }
    }
}
