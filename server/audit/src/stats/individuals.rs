//! Limits of a chart of individual values, from their moving range.
//!
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods §6.3.2.2. The mean range of two normal values is 1.128
//! standard deviations. Values that resemble the one before make the moving range, and so the limits, too narrow.

use super::count;

/// Mean range of two values, in standard deviations.
const RANGE_OF_TWO: f64 = 1.128;

/// Centre and limits of a chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Mean of the values.
    pub centre: f64,
    /// Mean of the differences of neighbours, without sign.
    pub moving_range: f64,
    /// Three standard deviations below the centre.
    pub low: f64,
    /// Three above.
    pub high: f64,
}

/// Limits by values in order of time. `None` with fewer than two.
#[must_use]
pub fn limits(values: &[f64]) -> Option<Limits> {
    if values.len() < 2 {
        return None;
    }
    let centre = values.iter().sum::<f64>() / count(values.len());
    let ranges = values.windows(2).map(|two| (two[1] - two[0]).abs());
    let moving_range = ranges.sum::<f64>() / count(values.len() - 1);
    let reach = 3.0 * moving_range / RANGE_OF_TWO;
    Some(Limits { centre, moving_range, low: centre - reach, high: centre + reach })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_value_has_no_limits_and_equal_ones_have_none_apart() {
        assert_eq!(limits(&[4.0]), None);
        let told = limits(&[4.0; 5]).unwrap();
        assert!((told.high - told.low).abs() < 1e-12 && (told.centre - 4.0).abs() < 1e-12);
    }
}
