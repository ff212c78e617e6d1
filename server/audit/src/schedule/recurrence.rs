//! The days of a recurrence rule.
//!
//! Source: RFC 5545 §3.3.10 and §3.8.5.3. Rules are read as rules over civil days: they know no time
//! of day and no time zone, so no clock change can move or drop a due day. As most implementations
//! do, the start day is due only if the rule falls on it.

use crate::terms::Day;
use chrono::{DateTime, Datelike, Days, Months, NaiveDate, NaiveTime, TimeZone};
use rrule::{Frequency, RRule, RRuleSet, Tz, Unvalidated};
use std::fmt;

/// How many due days one check may have in a stretch that is asked about: 54 years of daily ones.
pub const MAX_DUE_DAYS: usize = 20_000;

/// A rule that is joined on its way is joined so long before the days that are asked about: a leap day may be eight
/// years from the one before.
const RUN_UP: Months = Months::new(9 * 12);

/// Years that a rule may end in.
const UNTIL: std::ops::RangeInclusive<i32> = 1800..=2199;

/// A rule that repeats over days from its start on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recurrence {
    text: String,
    start: Day,
    rule: Box<RRuleSet>,
}

/// Why a text is not a rule that a check can follow.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RuleError {
    /// Not `NAME=value` between semicolons.
    #[error("{0:?} is not of the form NAME=value")]
    NotAPart(String),
    /// A part that RFC 5545 does not name.
    #[error("a recurrence rule has no part {0}")]
    UnknownPart(String),
    /// A part given more than once.
    #[error("{0} is given twice")]
    Twice(String),
    /// No FREQ.
    #[error("FREQ is missing: DAILY, WEEKLY, MONTHLY or YEARLY")]
    NoFrequency,
    /// Hourly or more often.
    #[error("FREQ={0} is more often than daily; a check is due by the day")]
    WithinTheDay(String),
    /// BYHOUR, BYMINUTE or BYSECOND.
    #[error("{0} sets a time of day; a check is due by the day")]
    TimeOfDay(String),
    /// UNTIL with a time, or not a day.
    #[error("UNTIL={0} is not a day written YYYYMMDD")]
    UntilNotADay(String),
    /// Both ends at once (RFC 5545 §3.3.10 forbids it).
    #[error("COUNT and UNTIL exclude each other")]
    CountAndUntil,
    /// BYSETPOS without a set to choose from (RFC 5545 §3.3.10).
    #[error("BYSETPOS chooses among the days of another BY part; there is none")]
    PositionOfNothing,
    /// INTERVAL or COUNT out of range.
    #[error("{part} must be a whole number from 1 to {most}")]
    OutOfRange {
        /// INTERVAL or COUNT.
        part: &'static str,
        /// The largest accepted.
        most: usize,
    },
    /// A value outside its part's range, or parts that exclude each other.
    #[error("{0}")]
    Invalid(String),
    /// No day ever fits, such as 30 February.
    #[error("the rule never falls on any day")]
    Never,
    /// More due days than [`MAX_DUE_DAYS`] up to the day asked for.
    #[error("more than {MAX_DUE_DAYS} due days")]
    TooMany,
}

impl Recurrence {
    /// Reads an RRULE value, such as `FREQ=WEEKLY;BYDAY=MO`, whose first possible day is `start`.
    ///
    /// # Errors
    /// Says which part is wrong: see [`RuleError`].
    pub fn parse(text: &str, start: Day) -> Result<Self, RuleError> {
        let text = text.trim().to_ascii_uppercase();
        let parts = parts(&text)?;
        let value = |name: &str| parts.iter().find(|part| part.0 == name).map(|part| part.1);
        let frequency = value("FREQ").ok_or(RuleError::NoFrequency)?;
        if matches!(frequency, "HOURLY" | "MINUTELY" | "SECONDLY") {
            return Err(RuleError::WithinTheDay(frequency.to_owned()));
        }
        if value("COUNT").is_some() && value("UNTIL").is_some() {
            return Err(RuleError::CountAndUntil);
        }
        let chooses = |name: &str| name.starts_with("BY") && name != "BYSETPOS";
        if value("BYSETPOS").is_some() && !parts.iter().any(|(name, _)| chooses(name)) {
            return Err(RuleError::PositionOfNothing);
        }
        in_range("INTERVAL", value("INTERVAL"), usize::from(u16::MAX))?;
        in_range("COUNT", value("COUNT"), MAX_DUE_DAYS)?;

        let civil: Vec<String> = parts
            .iter()
            .map(|(name, value)| match *name {
                "UNTIL" => NaiveDate::parse_from_str(value, "%Y%m%d")
                    .ok()
                    .filter(|day| value.len() == 8 && UNTIL.contains(&day.year()))
                    .map(|_| format!("UNTIL={value}T000000Z"))
                    .ok_or_else(|| RuleError::UntilNotADay((*value).to_owned())),
                _ => Ok(format!("{name}={value}")),
            })
            .collect::<Result<_, _>>()?;
        let rule: RRule<Unvalidated> = civil
            .join(";")
            .parse()
            .map_err(|error: rrule::RRuleError| RuleError::Invalid(error.to_string()))?;
        let rule =
            rule.build(midnight(start)).map_err(|error| RuleError::Invalid(error.to_string()))?.limit();
        let told = Self { text, start, rule: Box::new(rule) };
        if told.days().next().is_none() {
            return Err(RuleError::Never);
        }
        Ok(told)
    }

    /// The rule as text, in capitals.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// First day on which the rule can fall.
    #[must_use]
    pub fn start(&self) -> Day {
        self.start
    }

    /// The days of the rule from about `from` on, in order, and some before it: a rule that began a century ago is
    /// joined on its way. One that ends after a number of times is counted from its beginning, for only that tells
    /// when it ends.
    pub fn days_about(&self, from: Day) -> impl Iterator<Item = Day> {
        let joined = self.joined(from);
        joined.as_ref().unwrap_or(&self.rule).into_iter().map(|due| due.date_naive())
    }

    /// The rule as if it had begun at its last own beginning of a period before `from`. By now the days that it falls
    /// on are written out in it, so they do not shift with its beginning.
    fn joined(&self, from: Day) -> Option<RRuleSet> {
        let [rule] = self.rule.get_rrule().as_slice() else { return None };
        if rule.get_count().is_some() {
            return None;
        }
        let before = from.checked_sub_months(RUN_UP)?;
        let every = u32::from(rule.get_interval().max(1));
        let whole =
            |length: i64, passed: i64| u64::try_from(passed / length * length).ok().filter(|n| *n > 0);
        let begins = match rule.get_freq() {
            Frequency::Daily => {
                let passed = (before - self.start).num_days();
                self.start.checked_add_days(Days::new(whole(every.into(), passed)?))
            }
            Frequency::Weekly => {
                let passed = (before - self.start).num_days();
                self.start.checked_add_days(Days::new(whole(i64::from(every) * 7, passed)?))
            }
            Frequency::Monthly | Frequency::Yearly => {
                let months = |day: Day| i64::from(day.year()) * 12 + i64::from(day.month0());
                let period = i64::from(every) * if rule.get_freq() == Frequency::Yearly { 12 } else { 1 };
                let passed = whole(period, months(before) - months(self.start))?;
                let joined =
                    self.start.with_day(1)?.checked_add_months(Months::new(u32::try_from(passed).ok()?))?;
                if rule.get_freq() == Frequency::Yearly { joined.with_month(1) } else { Some(joined) }
            }
            _ => None,
        };
        Some(RRuleSet::new(midnight(begins?)).rrule(rule.clone()).limit())
    }

    /// Every day of the rule in order, without end if the rule has none.
    pub fn days(&self) -> impl Iterator<Item = Day> {
        self.rule.into_iter().map(|due| due.date_naive())
    }
}

/// Where the rules' own library, which knows instants alone, has a day.
fn midnight(day: Day) -> DateTime<Tz> {
    Tz::UTC.from_utc_datetime(&day.and_time(NaiveTime::MIN))
}

impl fmt::Display for Recurrence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// Splits a rule into its parts, each known and given once.
fn parts(text: &str) -> Result<Vec<(&str, &str)>, RuleError> {
    let mut parts: Vec<(&str, &str)> = Vec::new();
    for part in text.split(';') {
        let Some((name, value)) = part.split_once('=').filter(|(_, value)| !value.is_empty()) else {
            return Err(RuleError::NotAPart(part.to_owned()));
        };
        match name {
            "FREQ" | "INTERVAL" | "COUNT" | "UNTIL" | "WKST" | "BYDAY" | "BYMONTHDAY" | "BYYEARDAY"
            | "BYWEEKNO" | "BYMONTH" | "BYSETPOS" => {}
            "BYHOUR" | "BYMINUTE" | "BYSECOND" => return Err(RuleError::TimeOfDay(name.to_owned())),
            _ => return Err(RuleError::UnknownPart(name.to_owned())),
        }
        if parts.iter().any(|(earlier, _)| *earlier == name) {
            return Err(RuleError::Twice(name.to_owned()));
        }
        parts.push((name, value));
    }
    Ok(parts)
}

fn in_range(part: &'static str, value: Option<&str>, most: usize) -> Result<(), RuleError> {
    match value.map(str::parse::<usize>) {
        None => Ok(()),
        Some(Ok(number)) if (1..=most).contains(&number) => Ok(()),
        Some(_) => Err(RuleError::OutOfRange { part, most }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<Recurrence, RuleError> {
        Recurrence::parse(text, "2026-03-02".parse().unwrap())
    }

    #[test]
    fn says_which_part_is_wrong() {
        for (text, message) in [
            ("", "\"\" is not of the form NAME=value"),
            ("FREQ=DAILY;", "\"\" is not of the form NAME=value"),
            ("FREQ=DAILY;BYDAY=", "\"BYDAY=\" is not of the form NAME=value"),
            ("RRULE:FREQ=DAILY", "a recurrence rule has no part RRULE:FREQ"),
            ("FREQ=YEARLY;BYEASTER=1", "a recurrence rule has no part BYEASTER"),
            ("BYDAY=MO", "FREQ is missing: DAILY, WEEKLY, MONTHLY or YEARLY"),
            ("FREQ=HOURLY;INTERVAL=6", "FREQ=HOURLY is more often than daily; a check is due by the day"),
            ("FREQ=DAILY;BYHOUR=8", "BYHOUR sets a time of day; a check is due by the day"),
            ("FREQ=DAILY;FREQ=WEEKLY", "FREQ is given twice"),
            ("FREQ=DAILY;COUNT=3;UNTIL=20270101", "COUNT and UNTIL exclude each other"),
            ("FREQ=DAILY;UNTIL=20270101T080000Z", "UNTIL=20270101T080000Z is not a day written YYYYMMDD"),
            ("FREQ=DAILY;UNTIL=20270230", "UNTIL=20270230 is not a day written YYYYMMDD"),
            ("FREQ=DAILY;UNTIL=99991231", "UNTIL=99991231 is not a day written YYYYMMDD"),
            ("FREQ=DAILY;INTERVAL=0", "INTERVAL must be a whole number from 1 to 65535"),
            ("FREQ=DAILY;COUNT=20001", "COUNT must be a whole number from 1 to 20000"),
            ("FREQ=DAILY;BYSETPOS=1", "BYSETPOS chooses among the days of another BY part; there is none"),
            ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "the rule never falls on any day"),
        ] {
            assert_eq!(parse(text).unwrap_err().to_string(), message, "{text}");
        }
        for text in ["FREQ=NEVER", "FREQ=WEEKLY;BYDAY=XX", "FREQ=MONTHLY;BYMONTHDAY=32"] {
            assert!(matches!(parse(text), Err(RuleError::Invalid(_))), "{text}: {:?}", parse(text));
        }
    }

    /// Joined on its way or followed from its beginning: the days are the same, and it is joined where it can be.
    #[test]
    fn a_rule_that_began_long_ago_is_joined_on_its_way() {
        let from: Day = "2026-03-02".parse().unwrap();
        for (start, rule, joined) in [
            ("1900-01-01", "FREQ=DAILY", true),
            ("1905-06-07", "FREQ=DAILY;INTERVAL=13", true),
            ("1905-06-07", "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=29", true),
            ("1901-10-31", "FREQ=WEEKLY;INTERVAL=3", true),
            ("1901-10-31", "FREQ=WEEKLY;INTERVAL=2;WKST=SU;BYDAY=SU,MO", true),
            ("1903-01-31", "FREQ=MONTHLY", true),
            ("1903-01-31", "FREQ=MONTHLY;INTERVAL=7", true),
            ("1903-01-31", "FREQ=MONTHLY;INTERVAL=5;BYDAY=-1FR", true),
            ("1904-02-29", "FREQ=YEARLY", true),
            ("1904-12-31", "FREQ=YEARLY;INTERVAL=3;BYMONTH=6,7;BYDAY=2TU", true),
            ("1904-12-31", "FREQ=YEARLY;BYWEEKNO=1,53;BYDAY=MO", true),
            ("1904-12-31", "FREQ=YEARLY;BYYEARDAY=-1,200;UNTIL=20270101", true),
            ("1990-01-01", "FREQ=DAILY;COUNT=20000", false),
            ("2024-01-01", "FREQ=DAILY", false),
        ] {
            let rule = Recurrence::parse(rule, start.parse().unwrap()).unwrap();
            let some =
                |days: Vec<Day>| days.into_iter().filter(|day| *day >= from).take(400).collect::<Vec<_>>();
            let last = from + Days::new(366 * 30);
            let whole = some(rule.days().take_while(|day| *day < last).collect());
            let about = some(rule.days_about(from).take_while(|day| *day < last).collect());
            assert_eq!(about, whole, "{rule} from {start}");
            let run_up = rule.days_about(from).next().unwrap();
            assert_eq!(run_up.year() > 1990, joined || run_up.year() == 2024, "{rule}: {run_up}");
        }
    }

    #[test]
    fn the_last_day_is_inside() {
        let days: Vec<_> =
            parse("freq=weekly;until=20260316").unwrap().days().map(|d| d.to_string()).collect();
        assert_eq!(days, ["2026-03-02", "2026-03-09", "2026-03-16"]);
    }
}
