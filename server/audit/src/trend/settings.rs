//! Thresholds of the weight trend.

use crate::episode::Severity;
use crate::reading::Agreement;
use serde::{Deserialize, Serialize};

/// Every threshold of [`super::watch`] and [`crate::companions::watch`], to be set per species or
/// animal with the reason on record. No law or standard fixes a loss per time for exhibited animals,
/// so each default says what it rests on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Weeks that the baseline looks back: 52, so that it holds one of each season.
    pub reference_weeks: u32,
    /// Latest weeks that the baseline leaves out, so that a slow loss does not lower it: 8.
    pub lag_weeks: u32,
    /// Standard deviation of weekly readings of a healthy animal, in % of its mass, as long as its own
    /// readings do not tell better: 2 (common practice, no source: gut fill, wet fur).
    pub usual_spread_percent: f64,
    /// Shortfall of a week that does not count, in spreads: the allowance of the cumulative sum chart,
    /// 1.5. With the two below tuned on invented herds; see the example `detection`.
    pub allowance: f64,
    /// Sum of what does count, in spreads, at which a loss is certain enough: the chart's limit, 2.
    pub limit: f64,
    /// Smoothed loss below which nothing is raised, in %: 4. What is certain may still not matter.
    pub least_loss_percent: f64,
    /// The same where its companions were weighed too and did not lose: 3. What an animal does alone
    /// matters sooner (judgement).
    pub least_lone_loss_percent: f64,
    /// Smoothed loss of the middle of a group, in %, at which the group is told of: 5 (judgement).
    pub group_loss_percent: f64,
    /// Loss since the last weeks, in %, that is raised at once: 10 (common practice, no source).
    pub sharp_loss_percent: f64,
    /// Loss, in %, at which to act: 10 (common in small-animal medicine, from memory; no source).
    pub act_loss_percent: f64,
    /// Loss, in %, that is urgent: 20, the usual upper limit of research-animal policies (University
    /// of Washington; Talbot et al. 2020, Lab Anim 54:99, who show that it can be too late).
    pub urgent_loss_percent: f64,
    /// Loss per week, in %, at which to act even before much is lost: 2 (common practice, no source).
    pub fast_loss_percent_per_week: f64,
    /// Weeks over which slopes are told and compared: 8.
    pub slope_weeks: u32,
    /// Refusals of the scale in a row that are worth a look, if the animal usually comes: 3.
    pub refusals: u32,
    /// When another reading confirms a doubtful one.
    pub agreement: Agreement,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            reference_weeks: 52,
            lag_weeks: 8,
            usual_spread_percent: 2.0,
            allowance: 1.5,
            limit: 2.0,
            least_loss_percent: 4.0,
            least_lone_loss_percent: 3.0,
            group_loss_percent: 5.0,
            sharp_loss_percent: 10.0,
            act_loss_percent: 10.0,
            urgent_loss_percent: 20.0,
            fast_loss_percent_per_week: 2.0,
            slope_weeks: 8,
            refusals: 3,
            agreement: Agreement::default(),
        }
    }
}

impl Settings {
    /// Smoothed residual above which nothing is raised, in ln mass.
    pub(crate) fn least_loss(&self, beside: bool) -> f64 {
        let percent = if beside { self.least_lone_loss_percent } else { self.least_loss_percent };
        (-percent / 100.0).ln_1p()
    }

    /// How soon to look after so much was lost, in %; `fast` where it goes on losing quickly.
    pub(crate) fn severity(&self, lost_percent: f64, fast: bool) -> Severity {
        if lost_percent >= self.urgent_loss_percent {
            Severity::Urgent
        } else if lost_percent >= self.act_loss_percent || fast {
            Severity::Act
        } else {
            Severity::Watch
        }
    }
}
