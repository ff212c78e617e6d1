//! Arguments that say when.

use crate::failure::Failure;
use crate::moment;
use crate::moment::{DayWord, When, WhenWord};
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use chrono_tz::Tz;
use clap::Args;
use holt_proto::time::{day, timestamp, whole_day};
use holt_proto::v1;
use prost_types::Timestamp;

/// The day that something happened on, or the time.
#[derive(Args, Clone, Copy, Debug)]
#[group(required = true, multiple = false)]
pub(crate) struct OnOrAt {
    /// Day on which it happened, if the time is not known
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Time at which it happened
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
}

/// A day, with its instant where that is known.
pub(crate) struct Happened {
    pub(crate) on: v1::Day,
    pub(crate) at: Option<Timestamp>,
}

impl OnOrAt {
    /// The same of arguments that a command has for itself.
    pub(crate) const fn new(on: Option<DayWord>, at: Option<WhenWord>) -> Self {
        Self { on, at }
    }

    /// The day and the instant that are meant in a zone.
    pub(crate) fn resolve(self, zone: Tz, now: DateTime<Utc>) -> Result<Happened, Failure> {
        let word = match (self.on, self.at) {
            (_, Some(at)) => at,
            (on, None) => WhenWord::Day(on.unwrap_or(DayWord::FromToday(0))),
        };
        Ok(match word.resolve(zone, now)? {
            When::On(on) => Happened { on: day(on), at: None },
            When::At(at) => Happened { on: day(moment::today(zone, at)), at: Some(timestamp(at)) },
        })
    }
}

/// An `--at` that may be a day alone: the instant, or the day.
pub(crate) fn moment(
    at: Option<WhenWord>,
    zone: Tz,
    now: DateTime<Utc>,
) -> Result<(Option<Timestamp>, Option<v1::Day>), Failure> {
    Ok(match at.map(|at| at.resolve(zone, now)).transpose()? {
        None => (None, None),
        Some(When::At(at)) => (Some(timestamp(at)), None),
        Some(When::On(on)) => (None, Some(day(on))),
    })
}

/// The instant of an `--at`, where a day alone is not enough.
pub(crate) fn instant(
    at: Option<WhenWord>,
    zone: Tz,
    now: DateTime<Utc>,
) -> Result<Option<Timestamp>, Failure> {
    match at.map(|at| at.resolve(zone, now)).transpose()? {
        None => Ok(None),
        Some(When::At(at)) => Ok(Some(timestamp(at))),
        Some(When::On(day)) => Err(Failure::usage(
            format!("a day alone is not enough here: {day}"),
            format!("write the time as well: \"{day} 06:40\""),
        )),
    }
}

/// The time as known at which records are read.
#[derive(Args, Clone, Copy, Debug)]
pub(crate) struct AsKnownAt {
    /// As known at this time [default: now]
    #[arg(long, value_name = "TIME")]
    as_known_at: Option<WhenWord>,
}

impl AsKnownAt {
    pub(crate) const fn is_now(self) -> bool {
        self.as_known_at.is_none()
    }

    pub(crate) fn instant(self, zone: Tz, now: DateTime<Utc>) -> Result<Option<Timestamp>, Failure> {
        instant(self.as_known_at, zone, now)
    }
}

/// The days of what is listed.
#[derive(Args, Clone, Copy, Debug)]
pub(crate) struct Days {
    /// First day
    #[arg(long, value_name = "DAY")]
    pub(crate) from: Option<DayWord>,
    /// Last day [default: today]
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
}

impl Days {
    pub(crate) fn span(self, today: NaiveDate) -> Result<Option<v1::DaySpan>, Failure> {
        span(self.from, self.to, today)
    }
}

/// The days of a report.
#[derive(Args, Clone, Copy, Debug)]
pub(crate) struct Period {
    /// A calendar year; this year ends today [default: this year]
    #[arg(long, value_name = "YEAR", conflicts_with_all = ["from", "to"])]
    #[arg(value_parser = clap::value_parser!(i32).range(1800..=2199))]
    year: Option<i32>,
    /// First day
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day [default: today]
    #[arg(long, value_name = "DAY", requires = "from")]
    to: Option<DayWord>,
}

impl Period {
    /// Those that are named, or a calendar year; this one until today if nothing is.
    pub(crate) fn days(self, today: NaiveDate) -> Result<(NaiveDate, NaiveDate), Failure> {
        if let Some(span) = span(self.from, self.to, today)? {
            let whole = |day: Option<v1::Day>| day.and_then(|day| whole_day(day).ok()).unwrap_or(today);
            return Ok((whole(span.first), whole(span.last)));
        }
        let of_year = |year, month, date| NaiveDate::from_ymd_opt(year, month, date).unwrap_or(today);
        let year = self.year.unwrap_or_else(|| today.year());
        let last = if year == today.year() { today } else { of_year(year, 12, 31) };
        Ok((of_year(year, 1, 1), last))
    }
}

/// Two days as a span, both included; none where neither is given.
pub(crate) fn span(
    from: Option<DayWord>,
    to: Option<DayWord>,
    today: NaiveDate,
) -> Result<Option<v1::DaySpan>, Failure> {
    if from.is_none() && to.is_none() {
        return Ok(None);
    }
    // No record is older.
    let first =
        from.map_or(NaiveDate::from_ymd_opt(1800, 1, 1).unwrap_or_default(), |from| from.resolve(today));
    let last = to.map_or(today, |to| to.resolve(today));
    if first > last {
        return Err(Failure::usage(
            format!("the days run backwards: {first} to {last}"),
            "exchange --from and --to",
        ));
    }
    Ok(Some(v1::DaySpan { first: Some(day(first)), last: Some(day(last)) }))
}
