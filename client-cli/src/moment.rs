//! Times as people write and read them, in the time zone of a site.

use crate::failure::Failure;
use chrono::{DateTime, Days, MappedLocalTime, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;
use std::fmt;
use std::str::FromStr;

/// A day as it is written: `2026-11-25`, `today`, `yesterday`, `tomorrow`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum DayWord {
    Day(NaiveDate),
    /// So many days after today.
    FromToday(i64),
}

/// A time as it is written: an instant with its offset, a time of a day, a time of today, or a day alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum WhenWord {
    Instant(DateTime<Utc>),
    Local(DayWord, NaiveTime),
    Time(NaiveTime),
    Day(DayWord),
}

/// A time that is meant: an instant, or a day of the site's zone whose time was not noted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum When {
    At(DateTime<Utc>),
    On(NaiveDate),
}

/// Why a text is no time.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is not a {what}; write {example}")]
pub(crate) struct Unclear {
    text: String,
    what: &'static str,
    example: &'static str,
}

const DAYS: &str = "a day such as 2026-11-25, `today` or `yesterday`";
const TIMES: &str = "\"2026-11-25 06:40\", 06:40 for today, `yesterday`, 2026-11-25, or an instant with its \
    offset such \
     as 2026-11-25T06:40+01:00";

impl FromStr for DayWord {
    type Err = Unclear;

    fn from_str(text: &str) -> Result<Self, Unclear> {
        let word = text.trim();
        match word.to_ascii_lowercase().as_str() {
            "today" => return Ok(Self::FromToday(0)),
            "yesterday" => return Ok(Self::FromToday(-1)),
            "tomorrow" => return Ok(Self::FromToday(1)),
            _ => {}
        }
        day(word).map(Self::Day).ok_or_else(|| Unclear { text: text.to_owned(), what: "day", example: DAYS })
    }
}

/// ISO 8601 with all its digits: `2026-1-5` could be a slip.
fn day(text: &str) -> Option<NaiveDate> {
    (text.len() == 10).then(|| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok())?
}

fn time(text: &str) -> Option<NaiveTime> {
    ["%H:%M", "%H:%M:%S"].into_iter().find_map(|form| NaiveTime::parse_from_str(text, form).ok())
}

fn instant(text: &str) -> Option<DateTime<Utc>> {
    let text = text.replacen(' ', "T", 1);
    let with_seconds = DateTime::parse_from_rfc3339(&text).ok();
    with_seconds
        .or_else(|| {
            let forms = ["%Y-%m-%dT%H:%M%:z", "%Y-%m-%dT%H:%M%#z"];
            let zulu = text.strip_suffix(['Z', 'z']).map(|bare| format!("{bare}+00:00"));
            let text = zulu.as_deref().unwrap_or(&text);
            forms.into_iter().find_map(|form| DateTime::parse_from_str(text, form).ok())
        })
        .map(|at| at.with_timezone(&Utc))
}

impl FromStr for WhenWord {
    type Err = Unclear;

    fn from_str(text: &str) -> Result<Self, Unclear> {
        let word = text.trim();
        if let Ok(day) = word.parse() {
            return Ok(Self::Day(day));
        }
        if let Some(time) = time(word) {
            return Ok(Self::Time(time));
        }
        if let Some(at) = instant(word) {
            return Ok(Self::Instant(at));
        }
        word.split_once([' ', 'T'])
            .and_then(|(day, at)| Some(Self::Local(day.parse().ok()?, time(at.trim())?)))
            .ok_or_else(|| Unclear { text: text.to_owned(), what: "time", example: TIMES })
    }
}

impl DayWord {
    /// The day that is meant, where it is `today` at the site.
    pub(crate) fn resolve(self, today: NaiveDate) -> NaiveDate {
        match self {
            Self::Day(day) => day,
            Self::FromToday(days @ 0..) => {
                today.checked_add_days(Days::new(days.unsigned_abs())).unwrap_or(NaiveDate::MAX)
            }
            Self::FromToday(days) => {
                today.checked_sub_days(Days::new(days.unsigned_abs())).unwrap_or(NaiveDate::MIN)
            }
        }
    }

    /// Whether it means another day tomorrow.
    pub(crate) const fn is_relative(self) -> bool {
        matches!(self, Self::FromToday(_))
    }
}

impl WhenWord {
    /// The time that is meant in a zone.
    pub(crate) fn resolve(self, zone: Tz, now: DateTime<Utc>) -> Result<When, NoSuchTime> {
        let today = today(zone, now);
        match self {
            Self::Instant(at) => Ok(When::At(at)),
            Self::Local(day, time) => local(zone, day.resolve(today).and_time(time)).map(When::At),
            Self::Time(time) => local(zone, today.and_time(time)).map(When::At),
            Self::Day(day) => Ok(When::On(day.resolve(today))),
        }
    }

    /// Whether it means another time tomorrow.
    pub(crate) const fn is_relative(self) -> bool {
        match self {
            Self::Instant(_) => false,
            Self::Time(_) => true,
            Self::Local(day, _) | Self::Day(day) => day.is_relative(),
        }
    }
}

/// A time of day that the clocks of a zone never showed on that day, or showed twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NoSuchTime {
    Skipped { at: NaiveDateTime, zone: Tz },
    Twice { first: DateTime<Tz>, second: DateTime<Tz> },
}

impl NoSuchTime {
    /// What to do instead.
    pub(crate) fn mend(self) -> String {
        match self {
            Self::Skipped { .. } => "correct the time, or write it with its offset from UTC".to_owned(),
            Self::Twice { first, second } => format!(
                "write which one: {} or {}",
                first.format("%Y-%m-%dT%H:%M%:z"),
                second.format("%Y-%m-%dT%H:%M%:z")
            ),
        }
    }
}

impl fmt::Display for NoSuchTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Skipped { at, zone } => {
                write!(f, "{} did not exist in {zone}: clocks were put forward over it", at.format("%F %R"))
            }
            Self::Twice { first, .. } => write!(
                f,
                "{} happened twice in {}: clocks were put back",
                first.format("%F %R"),
                first.timezone()
            ),
        }
    }
}

impl From<NoSuchTime> for Failure {
    fn from(error: NoSuchTime) -> Self {
        Self::refused(error.to_string(), error.mend())
    }
}

fn local(zone: Tz, at: NaiveDateTime) -> Result<DateTime<Utc>, NoSuchTime> {
    match zone.from_local_datetime(&at) {
        MappedLocalTime::Single(one) => Ok(one.with_timezone(&Utc)),
        MappedLocalTime::Ambiguous(first, second) => Err(NoSuchTime::Twice { first, second }),
        MappedLocalTime::None => Err(NoSuchTime::Skipped { at, zone }),
    }
}

/// The day that it is in a zone.
pub(crate) fn today(zone: Tz, now: DateTime<Utc>) -> NaiveDate {
    now.with_timezone(&zone).date_naive()
}

/// An instant as the clock on the wall shows it in a zone.
pub(crate) fn wall(at: DateTime<Utc>, zone: Tz) -> NaiveDateTime {
    at.with_timezone(&zone).naive_local()
}

/// An instant as people of a zone read it: `2026-11-25 06:40 GMT`.
pub(crate) fn spoken(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).format("%Y-%m-%d %H:%M %Z").to_string()
}

/// An instant for people who know what day it is: the time alone where it is of today.
pub(crate) fn today_or_day(at: DateTime<Utc>, zone: Tz, now: DateTime<Utc>) -> String {
    let local = at.with_timezone(&zone);
    if local.date_naive() == today(zone, now) { local.format("%H:%M").to_string() } else { spoken(at, zone) }
}

/// An instant as programs read it: RFC 3339, with the zone's offset so that the local time is there too.
pub(crate) fn written(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).to_rfc3339_opts(chrono::SecondsFormat::AutoSi, false)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DUBLIN: Tz = Tz::Europe__Dublin;

    fn at(text: &str) -> DateTime<Utc> {
        DateTime::parse_from_rfc3339(text).unwrap().with_timezone(&Utc)
    }

    fn read(text: &str, now: &str) -> Result<When, NoSuchTime> {
        text.parse::<WhenWord>().unwrap().resolve(DUBLIN, at(now))
    }

    #[test]
    fn times_are_those_of_the_site() {
        // Summer time: an hour ahead of UTC. 23:30 UTC is already the next day there.
        let now = "2026-07-01T23:30:00Z";
        for (text, meant) in [
            ("2026-06-25 06:40", When::At(at("2026-06-25T05:40:00Z"))),
            ("2026-06-25T06:40:30", When::At(at("2026-06-25T05:40:30Z"))),
            ("00:15", When::At(at("2026-07-01T23:15:00Z"))),
            ("yesterday 16:00", When::At(at("2026-07-01T15:00:00Z"))),
            ("today", When::On("2026-07-02".parse().unwrap())),
            ("Yesterday", When::On("2026-07-01".parse().unwrap())),
            ("2026-06-25", When::On("2026-06-25".parse().unwrap())),
            ("2026-06-25T06:40Z", When::At(at("2026-06-25T06:40:00Z"))),
            ("2026-06-25T06:40:00+02:00", When::At(at("2026-06-25T04:40:00Z"))),
            ("2026-06-25 06:40+02:00", When::At(at("2026-06-25T04:40:00Z"))),
        ] {
            assert_eq!(read(text, now), Ok(meant), "{text}");
        }
    }

    /// Clock changes in Dublin as the IANA time zone database records them.
    #[test]
    fn what_clocks_skipped_or_showed_twice_is_refused_with_its_reason() {
        let now = "2026-11-01T00:00:00Z";
        let skipped = read("2026-03-29 01:30", now).unwrap_err();
        assert_eq!(
            skipped.to_string(),
            "2026-03-29 01:30 did not exist in Europe/Dublin: clocks were put forward over it"
        );
        let twice = read("2026-10-25 01:30", now).unwrap_err();
        assert_eq!(
            twice.to_string(),
            "2026-10-25 01:30 happened twice in Europe/Dublin: clocks were put back"
        );
        assert_eq!(twice.mend(), "write which one: 2026-10-25T01:30+01:00 or 2026-10-25T01:30+00:00");
        assert_eq!(read("2026-10-25T01:30+01:00", now), Ok(When::At(at("2026-10-25T00:30:00Z"))));
        assert_eq!(read("2026-10-25T01:30+00:00", now), Ok(When::At(at("2026-10-25T01:30:00Z"))));
    }

    #[test]
    fn what_could_mean_two_things_is_no_time() {
        for text in ["25/11/2026", "2026-1-5", "2026-02-30", "6.40", "25:00", "noon", "", "2026-11-25 6h"] {
            assert!(text.parse::<WhenWord>().is_err(), "{text}");
        }
        assert!("06:40".parse::<WhenWord>().unwrap().is_relative());
        assert!("yesterday 06:40".parse::<WhenWord>().unwrap().is_relative());
        assert!(!"2026-11-25 06:40".parse::<WhenWord>().unwrap().is_relative());
    }

    #[test]
    fn instants_are_told_in_the_zone_of_the_site() {
        assert_eq!(spoken(at("2026-07-01T05:40:00Z"), DUBLIN), "2026-07-01 06:40 IST");
        assert_eq!(written(at("2026-07-01T05:40:00Z"), DUBLIN), "2026-07-01T06:40:00+01:00");
        assert_eq!(spoken(at("2026-12-01T06:40:00Z"), DUBLIN), "2026-12-01 06:40 GMT");
    }
}
