//! The rules of practice and two charts of the textbook, with the care at entry that the model has.

use crate::chance::count;
use crate::clerk::Clerk;
use crate::rule::{About, Answered, Fact, Kind, Matter, Open, Rule, Weighing};
use chrono::TimeDelta;
use holt_audit::episode::Severity;
use holt_audit::terms::{Day, Instant};

/// How a weight is judged.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Method {
    /// Per cent below the weight before.
    BelowLast,
    /// Per cent below the mean of the past year.
    BelowYear,
    /// Standard errors of an exponentially weighted moving average.
    Ewma,
    /// The sum of a cumulative sum chart, in standard deviations.
    Cusum,
}

/// Weight of the newest in the average, and the allowance of the sum: those of the textbook.
const SMOOTHING: f64 = 0.2;
const ALLOWANCE: f64 = 0.5;
/// No residual counts more, in standard deviations, and no sum grows further.
const MOST: f64 = 4.0;
const MOST_SUM: f64 = 60.0;
/// Weeks that the charts leave out before they look back for a year.
const LAG: i64 = 8;

#[derive(Clone, Debug, Default)]
struct Chart {
    points: Vec<(Instant, f64)>,
    /// How many readings were taken in.
    seen: usize,
    average: f64,
    sum: f64,
    score: f64,
}

/// One of them, of each animal by itself.
#[derive(Clone, Debug)]
pub(crate) struct Practice {
    clerk: Clerk,
    method: Method,
    charts: Vec<Chart>,
}

impl Practice {
    pub(crate) fn new(kind: Kind, method: Method, false_a_year: f64) -> Self {
        Self { clerk: Clerk::new(kind, false_a_year), method, charts: Vec::new() }
    }
}

impl Chart {
    fn add(&mut self, method: Method, at: Instant, log: f64) {
        self.score = match method {
            Method::BelowLast => self.points.last().map_or(0.0, |(_, last)| -100.0 * (log - last).exp_m1()),
            Method::BelowYear => {
                let year: Vec<f64> = self.between(at, 0, 52).map(|log| log.exp()).collect();
                let mean = year.iter().sum::<f64>() / count(year.len());
                if year.len() < 4 { 0.0 } else { 100.0 * (1.0 - log.exp() / mean) }
            }
            Method::Ewma | Method::Cusum => {
                let off = self.off(at, log);
                self.average += SMOOTHING * (off - self.average);
                self.sum = (self.sum - off - ALLOWANCE).clamp(0.0, MOST_SUM);
                match method {
                    Method::Ewma => -self.average / (SMOOTHING / (2.0 - SMOOTHING)).sqrt(),
                    _ => self.sum,
                }
            }
        };
        self.points.push((at, log));
    }

    fn between(&self, at: Instant, from: i64, to: i64) -> impl Iterator<Item = f64> {
        let first = self.points.partition_point(|(then, _)| at - *then > TimeDelta::weeks(to));
        let last = self.points.partition_point(|(then, _)| at - *then >= TimeDelta::weeks(from));
        self.points[first..last.max(first)].iter().map(|(_, log)| *log)
    }

    /// Standard deviations off the mean of a year that ended some weeks ago.
    fn off(&self, at: Instant, log: f64) -> f64 {
        let n = count(self.between(at, LAG, LAG + 52).count());
        if n < 6.0 {
            return 0.0;
        }
        let mean = self.between(at, LAG, LAG + 52).sum::<f64>() / n;
        let squares: f64 = self.between(at, LAG, LAG + 52).map(|log| (log - mean).powi(2)).sum();
        // Eight readings of a usual animal beside its own.
        let sd = ((squares + 8.0 * 0.02 * 0.02) / (n - 1.0 + 8.0)).sqrt();
        ((log - mean) / sd).clamp(-MOST, MOST)
    }
}

impl Rule for Practice {
    fn fact(&mut self, fact: &Fact, on: Day) {
        self.clerk.fact(fact, on);
    }

    fn round(&mut self, round: &[Weighing]) -> Answered {
        self.clerk.round(round)
    }

    fn open(&mut self, group: usize, _: Instant) -> Vec<Open> {
        self.charts.resize_with(self.clerk.held.len(), Chart::default);
        let mut opens = Vec::new();
        for (animal, (held, chart)) in self.clerk.held.iter().zip(&mut self.charts).enumerate() {
            if held.group != group || !held.there {
                continue;
            }
            let mut weighed = false;
            for reading in &held.readings[chart.seen..] {
                let carries = held.pregnant.iter().any(|span| span.contains(reading.at.date_naive()));
                let Some(mass) = reading.mass.filter(|_| !reading.doubtful && !carries) else { continue };
                weighed = true;
                chart.add(self.method, reading.at, mass.grams().ln());
            }
            chart.seen = held.readings.len();
            // A week without a weight keeps quiet.
            if weighed {
                let about = About::Animal(animal);
                let severity = Severity::Act;
                opens.push(Open { about, matter: Matter::Weight, severity, score: chart.score });
            }
        }
        opens
    }
}
