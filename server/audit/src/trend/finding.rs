//! What a trend tells.

use crate::episode::Severity;
use crate::terms::{Day, Mass, RecordId};
use serde::{Deserialize, Serialize};

/// The numbers of one animal's weight as of an instant. Percentages are of the expected mass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Trend {
    /// Readings with a mass, up to that instant.
    pub readings: usize,
    /// Those of them that were used: not doubtful, or agreed with by another.
    pub used: usize,
    /// Fewer than three were used: the numbers below are few, and nothing is judged from them.
    pub too_few: bool,
    /// What it usually weighs.
    pub baseline: Option<Baseline>,
    /// What it should weigh in the week of the latest reading, by baseline and season.
    pub expected: Option<Mass>,
    /// The latest reading used.
    pub latest: Option<Latest>,
    /// The latest reading against the expected mass, in %.
    pub change_percent: Option<f64>,
    /// The smoothed level against the expected mass, in %.
    pub level_percent: Option<f64>,
    /// How fast it gains or loses.
    pub slope: Option<Slope>,
    /// How it stands beside its companions, if it was watched together with enough of them.
    pub beside: Option<Beside>,
    /// Attempts without mass since the latest reading with one.
    pub tried_in_a_row: u32,
    /// Days since the latest reading with a mass, used or not.
    pub days_since_mass: Option<i64>,
    /// What is raised: at most one finding of each matter.
    pub findings: Vec<Finding>,
}

/// What an animal usually weighs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Baseline {
    /// Median over its weeks, freed of the season.
    pub mass: Mass,
    /// Spread of a weekly reading about it, as a standard deviation in %.
    pub spread_percent: f64,
    /// How many weeks it is the median of.
    pub weeks: usize,
    /// Monday of the first of them.
    pub from: Day,
    /// Monday of the last of them.
    pub to: Day,
}

/// The latest reading used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Latest {
    /// The record.
    pub record: RecordId,
    /// The site's day.
    pub day: Day,
    /// What was read.
    pub mass: Mass,
}

/// Theil–Sen slope of the weekly medians, with a 95 % confidence interval, and the Mann–Kendall test.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Slope {
    /// % of the baseline per week.
    pub percent_per_week: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// Probability of an order at least this one-sided without a trend.
    pub order_p: f64,
    /// How many weeks had a reading.
    pub weeks: usize,
}

/// Something about an animal's weight that people should look at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// How soon.
    pub severity: Severity,
    /// Day on which the episode began, as far as the readings tell.
    pub since: Day,
    /// What was seen.
    pub evidence: Evidence,
    /// The records that raised it, oldest first.
    pub records: Vec<RecordId>,
}

/// What a finding is about. An animal has at most one of each, so that people hear of a matter once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Matter {
    /// It loses weight.
    Weight,
    /// It does not come to the scale.
    Scale,
}

/// What was seen, as numbers.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Evidence {
    /// It weighs less than it should.
    Loss(Loss),
    /// It no longer comes to the scale.
    Refusal(Refusal),
}

impl Evidence {
    /// What it is about.
    #[must_use]
    pub const fn matter(&self) -> Matter {
        match self {
            Self::Loss(_) => Matter::Weight,
            Self::Refusal(_) => Matter::Scale,
        }
    }
}

/// It weighs less than it should.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Loss {
    /// What it should weigh.
    pub expected: Mass,
    /// What it weighed last.
    pub latest: Mass,
    /// The latest reading against the expected mass, in %; negative.
    pub change_percent: f64,
    /// The smoothed level against the expected mass, in %.
    pub level_percent: f64,
    /// Weeks with a reading since it began.
    pub weeks: usize,
    /// The cumulated shortfall as a multiple of what raises a finding; below 1 once it recovers.
    pub strength: f64,
    /// It was lost from one weighing to the next, not bit by bit.
    pub sharp: bool,
    /// How it stands beside its companions, as in the trend.
    pub beside: Option<Beside>,
}

/// One animal beside its companions over the last weeks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Beside {
    /// How many companions it is compared with.
    pub companions: usize,
    /// Its Theil–Sen slope, in % of its own mass a week, freed of the season of its kind.
    pub slope_percent: f64,
    /// The middle of its companions' slopes.
    pub companions_slope_percent: f64,
    /// How many spreads of its companions' slopes its own lies above their middle.
    pub z: f64,
    /// It loses while they hold: its slope lies two spreads or more below their middle, and that
    /// middle falls by less than half of what it does.
    pub apart: bool,
}

/// It no longer comes to the scale.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Refusal {
    /// Attempts without mass in a row.
    pub in_a_row: u32,
    /// Share of earlier attempts that it refused, in %.
    pub usual_percent: f64,
    /// How likely such a row is by its own habit.
    pub chance: f64,
}
