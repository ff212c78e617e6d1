//! Thresholds of the weight trend.

use crate::reading::Agreement;
use serde::{Deserialize, Serialize};

/// Every threshold of [`super::watch`], to be set per species or animal with the reason on record. No
/// law or standard fixes a loss per time for exhibited animals, so each default says what it rests on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Weeks that the baseline looks back: 52, so that it holds one of each season.
    pub reference_weeks: u32,
    /// Latest weeks that the baseline leaves out, so that a slow loss does not lower it: 8.
    pub lag_weeks: u32,
    /// Weeks with a reading that a baseline needs: 4.
    pub least_weeks: u32,
    /// Standard deviation of weekly readings of a healthy animal, in % of its mass, as long as its own
    /// readings do not tell better: 2 (common practice, no source: gut fill, wet fur).
    pub usual_spread_percent: f64,
    /// Smallest spread believed, in %: 1. Ten equal readings do not make a scale perfect.
    pub least_spread_percent: f64,
    /// How many of an animal's own weeks the usual spread weighs as much as: 8.
    pub usual_spread_weeks: f64,
    /// Shortfall below the baseline that does not count, in spreads: the allowance of the chart.
    pub allowance: f64,
    /// Sum of shortfalls at which a loss is raised, in spreads: the limit of the chart.
    pub limit: f64,
    /// Weight of the newest week in the smoothed level: 0.3 (the NIST/SEMATECH example's).
    pub smoothing: f64,
    /// Smoothed loss below which nothing is raised, in %: what is certain may still not matter.
    pub least_loss_percent: f64,
    /// Loss, in %, at which to act: 10 (common in small-animal medicine, from memory; no source).
    pub act_loss_percent: f64,
    /// Loss, in %, that is urgent: 20, the usual upper limit of research-animal policies (University
    /// of Washington; Talbot et al. 2020, Lab Anim 54:99, who show that it can be too late).
    pub urgent_loss_percent: f64,
    /// Loss since the last weeks, in %, that is raised at once: 10 (common practice, no source).
    pub sharp_loss_percent: f64,
    /// Loss per week, in %, at which to act even before much is lost: 2 (common practice, no source).
    pub fast_loss_percent_per_week: f64,
    /// Weeks over which the slope is told: 12.
    pub slope_weeks: u32,
    /// When another reading confirms a doubtful one.
    pub agreement: Agreement,
    /// Refusals in a row that are worth a look, if the animal usually comes: 3.
    pub refusals: u32,
    /// How rare such a row of refusals must be for this animal: 1 in 100 rows.
    pub refusal_chance: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            reference_weeks: 52,
            lag_weeks: 8,
            least_weeks: 4,
            usual_spread_percent: 2.0,
            least_spread_percent: 1.0,
            usual_spread_weeks: 8.0,
            allowance: 0.5,
            limit: 5.0,
            smoothing: 0.3,
            least_loss_percent: 3.0,
            act_loss_percent: 10.0,
            urgent_loss_percent: 20.0,
            sharp_loss_percent: 10.0,
            fast_loss_percent_per_week: 2.0,
            slope_weeks: 12,
            agreement: Agreement::default(),
            refusals: 3,
            refusal_chance: 0.01,
        }
    }
}
