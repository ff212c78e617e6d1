//! How often a check comes round: as people say it, and as a recurrence rule (RFC 5545, 3.3.10).

use std::str::FromStr;

/// Every so many days, weeks or months.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Every {
    interval: u16,
    unit: Unit,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Unit {
    Day,
    Week,
    Month,
}

/// Why a text is no rhythm. Each message says what to write instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum RhythmError {
    #[error("`{0}` is not a rhythm; write `day`, `week`, `month`, or `2 weeks`")]
    Every(String),
    #[error("`{0}` is not a day of the week; write mon, tue, wed, thu, fri, sat, sun, several with commas")]
    Weekday(String),
    #[error("`{0}` is not a day of each month; write 1 to 28, or `last`: months are 28 to 31 days long")]
    MonthDay(String),
    #[error("`every day` has no days to choose; leave --on out, or write `--every week --on …`")]
    OnOfDays,
    #[error("no day of the month given; write `--on 1` to `--on 28`, or `--on last`")]
    NoMonthDay,
}

const WEEKDAYS: [(&str, &str, &str); 7] = [
    ("mon", "MO", "Monday"),
    ("tue", "TU", "Tuesday"),
    ("wed", "WE", "Wednesday"),
    ("thu", "TH", "Thursday"),
    ("fri", "FR", "Friday"),
    ("sat", "SA", "Saturday"),
    ("sun", "SU", "Sunday"),
];

impl FromStr for Every {
    type Err = RhythmError;

    fn from_str(text: &str) -> Result<Self, RhythmError> {
        let wrong = || RhythmError::Every(text.to_owned());
        let (number, unit) = match text.trim().split_once(' ') {
            Some((number, unit)) => (number.parse().map_err(|_| wrong())?, unit.trim()),
            None => (1, text.trim()),
        };
        let unit = match unit.to_ascii_lowercase().as_str() {
            "day" | "days" => Unit::Day,
            "week" | "weeks" => Unit::Week,
            "month" | "months" => Unit::Month,
            _ => return Err(wrong()),
        };
        if (1..=366).contains(&number) { Ok(Self { interval: number, unit }) } else { Err(wrong()) }
    }
}

impl Every {
    /// The recurrence rule, on the days named.
    pub(crate) fn rule(self, on: Option<&str>) -> Result<String, RhythmError> {
        let (frequency, days) = match (self.unit, on) {
            (Unit::Day, None) => ("DAILY", String::new()),
            (Unit::Day, Some(_)) => return Err(RhythmError::OnOfDays),
            (Unit::Week, None) => ("WEEKLY", String::new()),
            (Unit::Week, Some(on)) => ("WEEKLY", format!(";BYDAY={}", weekdays(on)?)),
            (Unit::Month, None) => return Err(RhythmError::NoMonthDay),
            (Unit::Month, Some(on)) => ("MONTHLY", format!(";BYMONTHDAY={}", month_day(on)?)),
        };
        let interval =
            if self.interval == 1 { String::new() } else { format!(";INTERVAL={}", self.interval) };
        Ok(format!("FREQ={frequency}{interval}{days}"))
    }
}

fn weekdays(on: &str) -> Result<String, RhythmError> {
    let codes: Result<Vec<&str>, RhythmError> = on
        .split(',')
        .map(|word| {
            let known = word.trim().to_ascii_lowercase();
            let found =
                WEEKDAYS.iter().find(|(short, _, long)| *short == known || long.eq_ignore_ascii_case(&known));
            found.map(|(_, code, _)| *code).ok_or_else(|| RhythmError::Weekday(word.trim().to_owned()))
        })
        .collect();
    Ok(codes?.join(","))
}

/// A rule for the 29th to 31st would pass over the months that have none, without a word.
fn month_day(on: &str) -> Result<i32, RhythmError> {
    if on.trim().eq_ignore_ascii_case("last") {
        return Ok(-1);
    }
    let day = on.trim().parse().ok().filter(|day| (1..=28).contains(day));
    day.ok_or_else(|| RhythmError::MonthDay(on.to_owned()))
}

/// A rule as people say it; the rule itself where it says more than [`Every`] can.
pub(crate) fn spoken(rule: &str) -> String {
    say(rule).unwrap_or_else(|| rule.to_owned())
}

fn say(rule: &str) -> Option<String> {
    let (mut unit, mut interval, mut on) = (None, 1_u16, String::new());
    for part in rule.trim_start_matches("RRULE:").split(';') {
        match part.split_once('=')? {
            ("FREQ", "DAILY") => unit = Some("day"),
            ("FREQ", "WEEKLY") => unit = Some("week"),
            ("FREQ", "MONTHLY") => unit = Some("month"),
            ("INTERVAL", n) => interval = n.parse().ok()?,
            ("BYDAY", codes) => {
                let names: Option<Vec<&str>> = codes
                    .split(',')
                    .map(|code| WEEKDAYS.iter().find(|(_, each, _)| *each == code).map(|(_, _, name)| *name))
                    .collect();
                on = format!(" on {}", names?.join(", "));
            }
            ("BYMONTHDAY", "-1") => " on its last day".clone_into(&mut on),
            ("BYMONTHDAY", day) => on = format!(" on day {}", day.parse::<u8>().ok()?),
            _ => return None,
        }
    }
    let unit = unit?;
    let every = if interval == 1 { format!("every {unit}") } else { format!("every {interval} {unit}s") };
    Some(format!("{every}{on}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_say_becomes_a_rule_and_is_said_again() {
        for (every, on, rule, say) in [
            ("day", None, "FREQ=DAILY", "every day"),
            ("3 days", None, "FREQ=DAILY;INTERVAL=3", "every 3 days"),
            ("week", None, "FREQ=WEEKLY", "every week"),
            ("week", Some("mon"), "FREQ=WEEKLY;BYDAY=MO", "every week on Monday"),
            (
                "2 weeks",
                Some("Tue, friday"),
                "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,FR",
                "every 2 weeks on Tuesday, Friday",
            ),
            ("month", Some("1"), "FREQ=MONTHLY;BYMONTHDAY=1", "every month on day 1"),
            ("month", Some("last"), "FREQ=MONTHLY;BYMONTHDAY=-1", "every month on its last day"),
        ] {
            let made = every.parse::<Every>().unwrap().rule(on);
            assert_eq!(made.as_deref(), Ok(rule));
            assert_eq!(spoken(rule), say);
        }
    }

    #[test]
    fn rules_that_would_pass_over_months_or_mean_nothing_are_refused() {
        let rule = |every: &str, on: Option<&str>| every.parse::<Every>().and_then(|every| every.rule(on));
        assert_eq!(rule("month", Some("31")), Err(RhythmError::MonthDay("31".to_owned())));
        assert_eq!(rule("month", None), Err(RhythmError::NoMonthDay));
        assert_eq!(rule("day", Some("mon")), Err(RhythmError::OnOfDays));
        assert_eq!(rule("week", Some("mo,xx")), Err(RhythmError::Weekday("mo".to_owned())));
        for every in ["fortnight", "0 days", "-1 weeks", "", "two weeks"] {
            assert_eq!(rule(every, None), Err(RhythmError::Every(every.to_owned())));
        }
    }

    #[test]
    fn a_rule_that_says_more_is_shown_as_it_is() {
        for rule in ["FREQ=MONTHLY;BYDAY=1MO", "FREQ=YEARLY", "nonsense", "FREQ=WEEKLY;COUNT=3"] {
            assert_eq!(spoken(rule), rule);
        }
    }
}
