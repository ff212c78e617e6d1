//! Thresholds of the check at entry.

use crate::reading::Agreement;
use serde::{Deserialize, Serialize};

/// When to ask for a second weighing. Defaults are judgement (no source): they ask about once in
/// some hundred good readings of a healthy animal.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// When another reading confirms a doubtful one of the history.
    pub agreement: Agreement,
    /// Latest readings that the forecast rests on: 8.
    pub readings: usize,
    /// Weeks back that they may lie: 26.
    pub weeks: u32,
    /// Standard deviation of a reading of a healthy animal, in %, as long as its own readings do not
    /// tell better: 2 (common practice, no source).
    pub usual_spread_percent: f64,
    /// What a healthy animal may drift within a week, in %, on top: 1.5.
    pub drift_percent_per_week: f64,
    /// Half width of what fits, in standard deviations: 4.
    pub deviations: f64,
    /// Smallest half width of what fits, in %: 8. Nobody is sent back to the scale for a full stomach.
    pub least_percent: f64,
    /// Weeks for which the latest of too few readings for a forecast still says something: 2.
    pub few_weeks: u32,
    /// By what factor an animal may have grown or shrunk meanwhile: 4. Even nestlings and pups stay below
    /// it, and a slip by a decimal point does not.
    pub few_factor: f64,
    /// How many times more likely two readings must be the other way round: 1000.
    pub exchange_odds: f64,
    /// Animals of a round that are needed to see that the scale is off: 5.
    pub drift_animals: usize,
    /// How far off, in %, a scale must be to be worth saying: 2.
    pub drift_percent: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            agreement: Agreement::default(),
            readings: 8,
            weeks: 26,
            usual_spread_percent: 2.0,
            drift_percent_per_week: 1.5,
            deviations: 4.0,
            least_percent: 8.0,
            few_weeks: 2,
            few_factor: 4.0,
            exchange_odds: 1000.0,
            drift_animals: 5,
            drift_percent: 2.0,
        }
    }
}
