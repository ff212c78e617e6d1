//! A run of values in the cell of a table.

use super::axis::NARROWEST;

const STEPS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// The last values, lowest to highest in eight steps, with a dot where there is none; empty for fewer than two values.
pub(crate) fn sparkline(values: &[Option<f64>], most: usize) -> String {
    let values = &values[values.len().saturating_sub(most)..];
    let there = || values.iter().flatten().copied();
    let (Some(low), Some(high)) = (there().reduce(f64::min), there().reduce(f64::max)) else {
        return String::new();
    };
    if there().count() < 2 {
        return String::new();
    }
    let range = (high - low).max(NARROWEST * high.abs()).max(f64::MIN_POSITIVE);
    let middle = low + (high - low) / 2.0;
    let step = |value: f64| {
        let share = (value - middle) / range + 0.5;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 7")]
        let step = (share * 7.0).round() as usize;
        STEPS[step.min(7)]
    };
    values.iter().map(|value| value.map_or('·', step)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lowest_is_the_lowest_step_and_what_is_missing_a_dot() {
        assert_eq!(sparkline(&[Some(1.0), None, Some(2.0), Some(8.0)], 8), "▁·▂█");
        assert_eq!(sparkline(&[Some(9.0), Some(1.0), Some(8.0)], 2), "▁█");
        assert_eq!(sparkline(&[Some(4.0), Some(4.0)], 8), "▅▅");
        // A hundredth up and down is not a slope; a tenth is.
        assert_eq!(sparkline(&[Some(1400.0), Some(1414.0), Some(1398.0)], 8), "▄▅▄");
        assert_eq!(sparkline(&[Some(1400.0), Some(1330.0), Some(1240.0)], 8), "█▅▁");
        assert_eq!(sparkline(&[Some(4.0), None], 8), "");
        assert_eq!(sparkline(&[], 8), "");
    }
}
