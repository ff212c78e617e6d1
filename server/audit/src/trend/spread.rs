//! How far the weeks of one animal lie from what was expected of them when nothing is wrong.

use super::residuals::Residual;
use super::settings::Settings;
use crate::stats::{count, median_mad};

/// How many of an animal's own weeks the usual spread weighs as much as.
const USUAL_WEEKS: f64 = 8.0;
/// Smallest spread believed, in ln mass: ten equal readings do not make a scale perfect.
const LEAST: f64 = 0.01;

/// The residuals that tell the spread, sliding along, with space to find their middle in.
#[derive(Default)]
pub(super) struct Window {
    first: usize,
    end: usize,
    logs: Vec<f64>,
}

impl Window {
    /// Standard deviation of a week, in ln mass, as of the residual at `at`, given in rising order: that
    /// of the weeks which make its baseline, robustly, drawn towards what is usual while they are few.
    /// Weeks in which it carried are passed over.
    pub(super) fn spread(&mut self, residuals: &[Residual], at: usize, settings: &Settings) -> f64 {
        let newest = residuals[at].number.saturating_sub_unsigned(settings.lag_weeks);
        let oldest = newest.saturating_sub_unsigned(settings.reference_weeks);
        while self.end < at && residuals[self.end].number < newest {
            self.end += 1;
        }
        while self.first < self.end && residuals[self.first].number < oldest {
            self.first += 1;
        }
        self.logs.clear();
        let own = residuals[self.first..self.end].iter().filter(|residual| !residual.gravid);
        self.logs.extend(own.map(|residual| residual.log));
        let held = count(self.logs.len());
        let seen = median_mad::mad(&mut self.logs, 0.0).unwrap_or(0.0) * median_mad::NORMAL_CONSISTENCY;
        let usual = settings.usual_spread_percent / 100.0;
        let spread = ((USUAL_WEEKS * usual * usual + held * seen * seen) / (USUAL_WEEKS + held)).sqrt();
        spread.max(LEAST)
    }
}
