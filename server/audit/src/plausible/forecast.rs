//! What an animal should weigh at some instant, by its own latest readings.

use super::settings::Settings;
use crate::reading::Reading;
use crate::stats::{count, median_mad, theil_sen};
use crate::terms::Instant;
use chrono::TimeDelta;

/// ln mass in grams as a normal value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Forecast {
    pub(super) log: f64,
    pub(super) spread: f64,
    /// Half of the stretch of ln mass that fits.
    pub(super) half_width: f64,
}

const MS_PER_WEEK: f64 = 604_800_000.0;

impl Forecast {
    /// From at least three readings within reach before `at`, in any order; doubtful ones that
    /// no other confirms and attempts without mass are passed over.
    ///
    /// The line is a Theil–Sen slope through the medians, so that one bad reading in the history
    /// does not bend it, and it is not drawn out further than it was seen. What an animal may do
    /// since its last reading widens the forecast.
    pub(super) fn of(history: &[Reading], at: Instant, settings: &Settings) -> Option<Self> {
        let past = usable(history, at, settings.weeks, settings);
        let late = &past[past.len().saturating_sub(settings.readings)..];
        if late.len() < 3 {
            return None;
        }
        let weeks_ago = |then: Instant| (then - at).num_milliseconds() as f64 / MS_PER_WEEK;
        let xs: Vec<f64> = late.iter().map(|(then, _)| weeks_ago(*then)).collect();
        let ys: Vec<f64> = late.iter().map(|(_, log)| *log).collect();
        let (first, last) = (xs[0], xs[xs.len() - 1]);
        let line = theil_sen::fit(&xs, &ys, 0.95, &mut theil_sen::Pairs::default());
        // A slope that may as well be none only adds its noise.
        let slope = line.filter(|line| line.low > 0.0 || line.high < 0.0).map_or(0.0, |line| line.slope);
        let mut rests: Vec<f64> = xs.iter().zip(&ys).map(|(x, y)| y - slope * x).collect();
        let level = median_mad::median(&mut rests)?;
        let seen = median_mad::mad(&mut rests, level)? * median_mad::NORMAL_CONSISTENCY;

        let usual = settings.usual_spread_percent / 100.0;
        let n = count(late.len());
        // The usual spread counts as much as as many readings of its own as a forecast takes at most.
        let known = count(settings.readings);
        let noise = ((known * usual * usual + n * seen * seen) / (known + n)).sqrt();
        let middle = xs.iter().sum::<f64>() / n;
        let lever = xs.iter().map(|x| (x - middle).powi(2)).sum::<f64>();
        let line_doubt = 1.0 / n + if slope == 0.0 { 0.0 } else { middle.powi(2) / lever };
        let drift = settings.drift_percent_per_week / 100.0 * last.abs().sqrt();
        let spread = (noise.powi(2) * (1.0 + line_doubt) + drift.powi(2)).sqrt();

        let out = (last - first).min(-last);
        Some(Self {
            log: level + slope * (last + out),
            spread,
            half_width: (settings.deviations * spread).max((settings.least_percent / 100.0).ln_1p()),
        })
    }

    /// From the latest reading alone, where there are too few for a line: what no animal outgrows within
    /// so short a time.
    pub(super) fn of_latest(history: &[Reading], at: Instant, settings: &Settings) -> Option<Self> {
        let (_, log) = *usable(history, at, settings.few_weeks, settings).last()?;
        let half_width = settings.few_factor.ln();
        Some(Self { log, spread: half_width / settings.deviations, half_width })
    }

    /// Standard deviations off.
    pub(super) fn z(&self, log: f64) -> f64 {
        (log - self.log) / self.spread
    }

    pub(super) fn fits(&self, log: f64) -> bool {
        (log - self.log).abs() <= self.half_width
    }
}

/// Readings within reach before `at`, in the order of time, as ln mass in grams.
fn usable(history: &[Reading], at: Instant, weeks: u32, settings: &Settings) -> Vec<(Instant, f64)> {
    let reach = TimeDelta::weeks(weeks.into());
    let mut past: Vec<Reading> =
        history.iter().filter(|past| past.at < at && at - past.at <= reach).copied().collect();
    past.sort_by_key(|past| past.at);
    settings.agreement.usable(&past).map(|(past, mass)| (past.at, mass.grams().ln())).collect()
}
