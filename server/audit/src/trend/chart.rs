//! The chart of one animal's weeks: shortfalls added up, a smoothed level, and the episode that is open.

use super::baseline::Reference;
use super::residuals::Residual;
use super::settings::Settings;
use super::spread;
use crate::stats::count;
use crate::stats::cusum::Cusum;
use crate::stats::ewma::Ewma;

/// A week's shortfall counts at most this many spreads, so that one wild reading raises nothing.
const MOST_SPREADS: f64 = 4.0;
/// By how much an animal's weeks resemble each other inflates the variance of their middle: that of a
/// first-order autoregression of 0.6 (judgement, no source).
const PERSISTENCE: f64 = 4.0;
/// Weight of the newest week in the smoothed level: the NIST/SEMATECH example's.
const SMOOTHING: f64 = 0.3;

/// Where the chart stands after the last week.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Chart {
    /// Standard deviation of a week about what is expected, in ln mass.
    pub(crate) spread: f64,
    /// Smoothed residual, in ln mass.
    pub(crate) level: f64,
    /// Cumulated shortfall over the limit.
    pub(crate) strength: f64,
    /// The episode that has not ended, if one was raised.
    pub(crate) open: Option<Open>,
}

/// A loss that was raised.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Open {
    /// Place of the week in which it began.
    pub(crate) since: usize,
    /// Lost from one weighing to the next.
    pub(crate) sharp: bool,
    /// What it usually weighed when that was raised.
    usual: Reference,
}

impl Open {
    /// What a week is held against: a loss that lasts becomes what an animal usually weighs, and is no less of one
    /// for that.
    pub(crate) const fn usual(&self, residual: &Residual) -> Reference {
        if residual.reference.log < self.usual.log { self.usual } else { residual.reference }
    }
}

/// A smoothed level that fades over missing weeks.
pub(crate) const fn smoothed() -> Ewma {
    Ewma::new(SMOOTHING, 0.0)
}

/// Runs the chart over all residuals. `None` without any.
pub(crate) fn run(residuals: &[Residual], settings: &Settings) -> Option<Chart> {
    let fall = (1.0 - settings.sharp_loss_percent / 100.0).ln();
    let mut sums = Cusum::default();
    let mut level = smoothed();
    let mut began: Option<usize> = None;
    let mut open: Option<Open> = None;
    let mut before: Option<i32> = None;
    let mut window = spread::Window::default();
    let mut spread = 0.0;
    for (at, residual) in residuals.iter().enumerate() {
        let Residual { place, number, reference, .. } = *residual;
        let beyond = open.map_or(0.0, |open: Open| reference.log - open.usual(residual).log);
        let (log, last) = (residual.log + beyond, residual.last + beyond);
        let least = settings.least_loss(residual.beside);
        spread = window.spread(residuals, at, settings);
        let standardised = (log / spread).clamp(-MOST_SPREADS, MOST_SPREADS);
        sums.add(standardised, settings.allowance + doubt(reference.weeks));
        level.add_after(log, before.map_or(1.0, |before| f64::from(number - before)));
        before = Some(number);

        if sums.low() <= 0.0 {
            began = None;
        } else if began.is_none() {
            began = Some(place);
        }
        let wild = -MOST_SPREADS * spread;
        let sharp = residual.step.is_some_and(|step| step <= fall.min(wild)) && last <= fall;
        if open.is_none() && (sharp || (sums.low() > settings.limit && level.value() <= least)) {
            open = Some(Open { since: began.unwrap_or(place), sharp, usual: reference });
        } else if open.is_some() && !sharp && level.value() > least / 2.0 && log > least {
            open = None;
            began = None;
            sums = Cusum::default();
        }
    }
    before.map(|_| Chart { spread, level: level.value(), strength: sums.low() / settings.limit, open })
}

/// How far the middle of so many weeks may itself lie from what the animal usually weighs, in spreads of
/// a week: the standard error of a median of normal values, √(π/2n), for weeks that resemble each other.
fn doubt(weeks: usize) -> f64 {
    (PERSISTENCE * std::f64::consts::FRAC_PI_2 / count(weeks)).min(1.0).sqrt()
}
