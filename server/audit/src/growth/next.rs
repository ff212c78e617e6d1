//! What a young animal should weigh next.

use super::Band;
use crate::stats::least_squares;

/// Latest readings that tell how fast it grows now.
const LATE: usize = 5;
/// By how much readings that follow one another resemble each other makes a forecast less certain than
/// independent ones would: measured on the open growth data (see the check `growth`).
const CAUTION: f64 = 1.3;

fn late(points: &[(f64, f64)]) -> &[(f64, f64)] {
    &points[points.len().saturating_sub(LATE)..]
}

/// How far back the readings lie that tell how fast it grows now, in days: no forecast is good for longer.
pub(super) fn span(points: &[(f64, f64)]) -> f64 {
    let late = late(points);
    late.last().zip(late.first()).map_or(0.0, |(last, first)| last.0 - first.0)
}

/// What a reading at an age, in days, is expected to show, by how the animal gained over its last five
/// readings: a straight line through ln mass, with the 95 % interval of a new reading. `points` are
/// `(age in days, grams)` in order of age, all before that age. `None` with fewer than four.
///
/// A line and not a whole growth curve, because a young animal's series is too short to tell its curve,
/// and an animal that stalls must not be excused by its own curve bending.
#[must_use]
pub fn expected(points: &[(f64, f64)], age: f64) -> Option<Band> {
    let late = late(points);
    if late.len() < 4 || late.iter().any(|(_, grams)| *grams <= 0.0) {
        return None;
    }
    let xs: Vec<f64> = late.iter().map(|(at, _)| at - age).collect();
    let ys: Vec<f64> = late.iter().map(|(_, grams)| grams.ln()).collect();
    let line = least_squares::line(&xs, &ys)?;
    // Ages are counted from the one asked about, so that the intercept is the forecast.
    let error = CAUTION * line.standard_error(0).hypot(line.residual_sd);
    Some(Band::of_log(line.coefficients[0], error, line.degrees_of_freedom))
}
