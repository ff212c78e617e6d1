//! Draws for the invented herds.

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
