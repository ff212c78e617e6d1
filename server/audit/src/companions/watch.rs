//! All members of a group at once.

use super::beside::{beside, pace};
use super::together::Together;
use super::whole::{Whole, whole};
use crate::terms::Instant;
use crate::trend::residuals::{self, Residual};
use crate::trend::series::{self, Series};
use crate::trend::watch::told;
use crate::trend::{Settings, Subject, Trend};
use crate::zone;
use serde::{Deserialize, Serialize};

/// The members of a group.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Watched {
    /// The trend of each, in the order given.
    pub each: Vec<Trend>,
    /// The group as one, if it loses as a whole.
    pub whole: Option<Whole>,
}

/// Watches animals of one kind that live together, as of an instant. Each trend is that of the animal
/// by itself ([`crate::trend::watch`]), except that what all of its companions do is expected of it too,
/// so that it stands out by what it alone does; that needs at least four companions weighed in the same
/// weeks. While the group loses as a whole ([`Watched::whole`]) it is no yardstick, and each is judged by
/// itself: a loss that all share is never silent.
#[must_use]
pub fn watch(members: &[Subject<'_>], as_of: Instant, settings: &Settings) -> Watched {
    let series: Vec<Series> = members.iter().map(|subject| Series::of(subject, as_of, settings)).collect();
    let mut residuals: Vec<Vec<Residual>> = members
        .iter()
        .zip(&series)
        .map(|(subject, series)| residuals::of(&series.weeks, subject.season, settings))
        .collect();
    let together = Together::of(&residuals);
    let now = members.first().map_or(0, |subject| series::number(zone::day_of(subject.zone, as_of)));
    let paces: Vec<Option<f64>> = members
        .iter()
        .zip(&series)
        .map(|(subject, series)| pace(series, subject.season, now, settings))
        .collect();
    let whole = whole(&together, now, settings.group_loss_percent);
    let each = members.iter().zip(&series).zip(&mut residuals).enumerate();
    let each = each.map(|(member, ((subject, series), residuals))| {
        if whole.is_none() {
            let others = together.others(member);
            for residual in &mut *residuals {
                if let Some(more) = others.expected(residual.number) {
                    residual.expect_as_companions(more);
                }
            }
        }
        told(subject, as_of, settings, series, residuals, beside(&paces, member))
    });
    Watched { each: each.collect(), whole }
}
