//! Counts as numbers to compute with.

/// `n` as a float: exact, because counts of readings are far below 2^53.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts of readings are far below 2^53")]
pub(crate) fn count(n: usize) -> f64 {
    n as f64
}
