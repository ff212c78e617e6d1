//! Where axes begin, end and are labelled, the same however a chart is drawn.

use super::measure::Unit;
use super::{Chart, Series};
use chrono::{DateTime, Datelike, Days, Months, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Timelike};

/// Share of the values' range that is left free above and below them.
const MARGIN: f64 = 0.08;
/// Narrowest range, as a share of the values: what is usual from one reading to the next must not look like a fall.
pub(super) const NARROWEST: f64 = 0.12;

/// The axis of values.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Upright {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) unit: Unit,
    /// Values at which it is labelled.
    pub(super) ticks: Vec<f64>,
    decimals: usize,
}

/// A time at which the axis of time is labelled.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Tick {
    pub(super) at: NaiveDateTime,
    pub(super) label: String,
}

/// Seconds since 1970 as the clock on the wall has it: the axis of time in numbers.
#[expect(clippy::cast_precision_loss, reason = "seconds of a few centuries")]
pub(super) fn seconds(at: NaiveDateTime) -> f64 {
    at.and_utc().timestamp() as f64
}

impl Upright {
    /// Makes room for the values, bands and baselines of a chart, with about so many labels.
    pub(super) fn of(chart: &Chart, labels: usize) -> Self {
        let roomy = chart.series.iter().filter(|series| series.makes_room);
        let of_series = roomy.flat_map(Series::values).map(|(_, value)| value);
        let edges = chart.bands.iter().flat_map(|band| &band.edges);
        let of_bands = edges.filter(|edge| edge.at >= chart.from && edge.at <= chart.to);
        let of_bands = of_bands.flat_map(|edge| [edge.low, edge.high]);
        let of_baselines = chart.baselines.iter().map(|baseline| baseline.value);
        let all: Vec<f64> = of_series.chain(of_bands).chain(of_baselines).collect();
        // A chart of nothing but doubtful values is drawn by those.
        let all = if all.is_empty() {
            chart.series.iter().flat_map(Series::values).map(|(_, value)| value).collect()
        } else {
            all
        };
        let low = all.iter().copied().reduce(f64::min).unwrap_or(0.0);
        let high = all.iter().copied().reduce(f64::max).unwrap_or(1.0);
        let short = (NARROWEST * high.abs().max(low.abs())).max(f64::MIN_POSITIVE) - (high - low);
        let widen = (high - low) * MARGIN + short.max(0.0) / 2.0;
        let (low, high) = (low - widen, high + widen);
        let unit = chart.measure.unit(high);
        let (step, decimals) = step((high - low) / unit.size, labels);
        let mut ticks = Vec::new();
        let mut tick = (low / unit.size / step).ceil();
        while tick * step * unit.size <= high {
            // Adding 0 turns -0 into 0.
            ticks.push(tick * step * unit.size + 0.0);
            tick += 1.0;
        }
        Self { low, high, unit, ticks, decimals }
    }

    /// The label of a value, without its unit.
    pub(super) fn label(&self, value: f64) -> String {
        format!("{:.*}", self.decimals, value / self.unit.size)
    }
}

/// A step of 1, 2 or 5 times a power of ten by which a range has at most so many labels, and its decimals.
fn step(range: f64, labels: usize) -> (f64, usize) {
    let labels = u32::try_from(labels.max(1)).map_or(1.0, f64::from);
    let mut power = (range / labels).log10().floor().clamp(-9.0, 12.0);
    loop {
        for size in [1.0, 2.0, 5.0] {
            let step = size * 10_f64.powf(power);
            if range / step <= labels {
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 9")]
                let decimals = (-power).max(0.0) as usize;
                return (step, decimals);
            }
        }
        power += 1.0;
    }
}

/// How far labels of time are apart.
#[derive(Clone, Copy)]
enum Apart {
    Hours(u32),
    Days(u64),
    Weeks(u64),
    Months(u32),
}

const APART: [Apart; 18] = [
    Apart::Hours(1),
    Apart::Hours(3),
    Apart::Hours(6),
    Apart::Hours(12),
    Apart::Days(1),
    Apart::Days(2),
    Apart::Weeks(1),
    Apart::Weeks(2),
    Apart::Months(1),
    Apart::Months(2),
    Apart::Months(3),
    Apart::Months(6),
    Apart::Months(12),
    Apart::Months(24),
    Apart::Months(60),
    Apart::Months(120),
    Apart::Months(240),
    Apart::Months(600),
];

/// At most so many labels between two times: at full hours, days, Mondays, or firsts of months.
pub(super) fn ticks(from: NaiveDateTime, to: NaiveDateTime, most: usize) -> Vec<Tick> {
    let mut fewest = Vec::new();
    for apart in APART {
        fewest = apart.between(from, to, most + 1);
        if fewest.len() <= most {
            break;
        }
    }
    fewest.truncate(most);
    fewest
}

impl Apart {
    fn between(self, from: NaiveDateTime, to: NaiveDateTime, most: usize) -> Vec<Tick> {
        let mut ticks = Vec::new();
        let mut next = Some(self.first(from));
        while let Some(at) = next.filter(|at| *at <= to && ticks.len() < most) {
            if at >= from {
                ticks.push(Tick { at, label: self.label(at) });
            }
            next = self.after(at);
        }
        ticks
    }

    /// The last one at or before a time.
    fn first(self, from: NaiveDateTime) -> NaiveDateTime {
        let day = from.date();
        let midnight = |day: NaiveDate| day.and_time(NaiveTime::MIN);
        match self {
            Self::Hours(hours) => {
                let hour = from.hour() / hours * hours;
                midnight(day) + TimeDelta::hours(hour.into())
            }
            Self::Days(_) => midnight(day),
            Self::Weeks(_) => midnight(day.week(chrono::Weekday::Mon).first_day()),
            Self::Months(months) if months >= 12 => {
                let years = i32::try_from(months / 12).unwrap_or(1);
                let year = day.year().div_euclid(years) * years;
                midnight(NaiveDate::from_ymd_opt(year, 1, 1).unwrap_or(day))
            }
            Self::Months(months) => {
                let month = day.month0() / months * months + 1;
                midnight(NaiveDate::from_ymd_opt(day.year(), month, 1).unwrap_or(day))
            }
        }
    }

    fn after(self, at: NaiveDateTime) -> Option<NaiveDateTime> {
        match self {
            Self::Hours(hours) => at.checked_add_signed(TimeDelta::hours(hours.into())),
            Self::Days(days) => at.checked_add_days(Days::new(days)),
            Self::Weeks(weeks) => at.checked_add_days(Days::new(7 * weeks)),
            Self::Months(months) => at.checked_add_months(Months::new(months)),
        }
    }

    fn label(self, at: NaiveDateTime) -> String {
        let form = match self {
            Self::Hours(_) if at.time() != NaiveTime::MIN => "%H:%M",
            Self::Hours(_) | Self::Days(_) | Self::Weeks(_) => "%-d %b",
            Self::Months(months) if months >= 12 => "%Y",
            Self::Months(_) => "%b %Y",
        };
        at.format(form).to_string()
    }
}

/// Noon of a day, where a thing of the day alone stands.
pub(crate) fn noon(day: NaiveDate) -> NaiveDateTime {
    day.and_time(NaiveTime::MIN) + TimeDelta::hours(12)
}

/// The time on the wall at so many seconds.
#[expect(clippy::cast_possible_truncation, reason = "seconds of a few centuries")]
pub(super) fn wall(seconds: f64) -> NaiveDateTime {
    DateTime::from_timestamp(seconds.round() as i64, 0).unwrap_or_default().naive_utc()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(from: &str, to: &str, most: usize) -> Vec<String> {
        let at = |text: &str| text.parse::<NaiveDateTime>().unwrap();
        ticks(at(from), at(to), most).into_iter().map(|tick| tick.label).collect()
    }

    #[test]
    fn time_is_labelled_at_full_hours_days_mondays_and_firsts() {
        let day = labels("2026-03-02T00:00:00", "2026-03-03T00:00:00", 5);
        assert_eq!(day, ["2 Mar", "06:00", "12:00", "18:00", "3 Mar"]);
        assert_eq!(
            labels("2026-03-03T00:00:00", "2026-03-31T00:00:00", 6),
            ["9 Mar", "16 Mar", "23 Mar", "30 Mar"]
        );
        let half_a_year = labels("2025-11-03T00:00:00", "2026-05-03T00:00:00", 6);
        assert_eq!(half_a_year, ["Dec 2025", "Jan 2026", "Feb 2026", "Mar 2026", "Apr 2026", "May 2026"]);
        assert_eq!(labels("2013-11-03T00:00:00", "2026-05-03T00:00:00", 4), ["2015", "2020", "2025"]);
    }

    #[test]
    fn no_stretch_has_more_labels_than_there_is_room_for() {
        for days in [0, 1, 3, 9, 40, 400, 4000, 40000, 140_000] {
            let from = "1801-02-03T04:05:06".parse::<NaiveDateTime>().unwrap();
            let to = from + TimeDelta::days(days);
            assert!(ticks(from, to, 6).len() <= 6, "{days}");
        }
    }

    #[test]
    fn steps_are_round() {
        for (range, labels, wanted) in
            [(1.0, 5, (0.2, 1)), (7.3, 5, (2.0, 0)), (0.12, 4, (0.05, 2)), (900.0, 5, (200.0, 0))]
        {
            let (size, decimals) = step(range, labels);
            assert!((size - wanted.0).abs() < 1e-9 && decimals == wanted.1, "{range}: {size} {decimals}");
        }
    }
}
