//! Draws for the invented worlds.

use holt_audit::chance::Chance;
use holt_audit::stats::normal;

/// Evenly from `low` up to `high`.
pub(crate) fn between(chance: &mut Chance, low: f64, high: f64) -> f64 {
    low + (high - low) * chance.unit()
}

/// A whole number from `low` up to, not including, `high`.
pub(crate) fn whole(chance: &mut Chance, low: usize, high: usize) -> usize {
    low + chance.below(high - low)
}

/// From a normal distribution about zero.
pub(crate) fn normal(chance: &mut Chance, sd: f64) -> f64 {
    sd * normal::quantile(chance.unit().max(1e-15))
}

/// From a distribution about zero with that spread and the tails of Student's t with three degrees of freedom.
pub(crate) fn tailed(chance: &mut Chance, sd: f64) -> f64 {
    let squares: f64 = (0..3).map(|_| normal(chance, 1.0).powi(2)).sum();
    normal(chance, sd) / squares.sqrt()
}

/// One of the whole numbers next to `mean`, so that it is met in the long run.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small number above zero")]
pub(crate) fn about(chance: &mut Chance, mean: f64) -> usize {
    mean.floor() as usize + usize::from(chance.happens(mean.fract()))
}

/// The week in which a moment lies; none before the first.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "weeks of some years")]
pub(crate) fn week_of(moment: f64) -> usize {
    moment.max(0.0) as usize
}

/// A count as a number to reckon with.
pub(crate) const fn count(n: usize) -> f64 {
    n as f64
}
