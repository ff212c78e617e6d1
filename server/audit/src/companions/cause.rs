//! What explains a group's fall better: that its members lose, or that their scale is off.
//!
//! Animals lose bit by bit and each in its own way. A scale that was moved, set to another tare or broken
//! shows all of them lighter by the same factor from one weighing to the next, and goes on doing so.

use super::together::Together;
use crate::stats::{count, median_mad};
use crate::trend::watch::percent;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What explains a group's fall better.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// They lose.
    Loss,
    /// A scale is off: since one weighing all of them are lighter by the same factor.
    Scale {
        /// By how much, in %; negative.
        percent: f64,
    },
}

/// Weeks that are looked at; the baseline takes the fall for usual soon after.
const WEEKS: i32 = 14;
/// Weeks with a middle that either side of a step needs.
const SIDE: usize = 2;
/// ln of how many times likelier a step must be than a slope: 20 times (judgement).
const SURE: f64 = 3.0;
/// Smallest noise of a middle that is believed, in ln mass.
const LEAST_NOISE: f64 = 0.003;
/// Spread of the members' own steps, in ln mass, up to which they are the same step: what the usual noise
/// of readings leaves of two means of a few weeks each (judgement).
const ALIKE: f64 = 0.015;

/// Judges the last weeks: a level, a step and a level against a level and a slope down from some week on,
/// which have as many coefficients, by least squares.
pub(super) fn cause(together: &Together, weeks: &[(i32, f64)]) -> Cause {
    let Some(&(last, _)) = weeks.last() else { return Cause::Loss };
    let late = &weeks[weeks.partition_point(|(number, _)| *number <= last - WEEKS)..];
    let Some((place, step)) = step(late) else { return Cause::Loss };
    let noise = LEAST_NOISE.powi(2) * count(late.len());
    let slope = slope(late).unwrap_or(f64::INFINITY);
    let odds = 0.5 * count(late.len()) * ((slope + noise) / (step + noise)).ln();
    let (before, after) = late.split_at(place);
    let (first, begin) = (late[0].0, after[0].0);
    let spread = spread(together, first, begin, last);
    if odds < SURE || spread.is_none_or(|spread| spread > ALIKE) {
        return Cause::Loss;
    }
    let mean = |side: &[(i32, f64)]| side.iter().map(|(_, log)| log).sum::<f64>() / count(side.len());
    Cause::Scale { percent: percent(mean(after) - mean(before)) }
}

/// Squares that are left by the best step down, and the place of the first week after it.
fn step(weeks: &[(i32, f64)]) -> Option<(usize, f64)> {
    let mean = |side: &[(i32, f64)]| side.iter().map(|(_, log)| log).sum::<f64>() / count(side.len());
    let squares = |side: &[(i32, f64)]| {
        let middle = mean(side);
        side.iter().map(|(_, log)| (log - middle).powi(2)).sum::<f64>()
    };
    (SIDE..=weeks.len().checked_sub(SIDE)?)
        .filter(|&place| mean(&weeks[place..]) < mean(&weeks[..place]))
        .map(|place| (place, squares(&weeks[..place]) + squares(&weeks[place..])))
        .min_by(|one, other| one.1.total_cmp(&other.1))
}

/// Squares that are left by the best slope down from some week on.
fn slope(weeks: &[(i32, f64)]) -> Option<f64> {
    let n = count(weeks.len());
    let begun = |onset: i32| {
        let out = |number: i32| f64::from((number - onset).max(0));
        let (x, y) = weeks.iter().fold((0.0, 0.0), |(x, y), (number, log)| (x + out(*number), y + log));
        let (x, y) = (x / n, y / n);
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for (number, log) in weeks {
            let (dx, dy) = (out(*number) - x, log - y);
            xx += dx * dx;
            xy += dx * dy;
            yy += dy * dy;
        }
        (xx > 0.0 && xy < 0.0).then(|| yy - xy * xy / xx)
    };
    weeks.iter().filter_map(|(onset, _)| begun(*onset)).min_by(f64::total_cmp)
}

/// How far the members' own steps at `begin` differ, robustly. `None` with fewer than four of them.
fn spread(together: &Together, first: i32, begin: i32, last: i32) -> Option<f64> {
    let mut sides: BTreeMap<usize, [(f64, usize); 2]> = BTreeMap::new();
    for (number, member, log) in together.between(first, last) {
        let side = &mut sides.entry(member).or_default()[usize::from(number >= begin)];
        *side = (side.0 + log, side.1 + 1);
    }
    let mut steps: Vec<f64> = sides
        .into_values()
        .filter(|[before, after]| before.1 >= SIDE && after.1 >= SIDE)
        .map(|[before, after]| after.0 / count(after.1) - before.0 / count(before.1))
        .collect();
    if steps.len() < super::together::FEWEST {
        return None;
    }
    let middle = median_mad::median(&mut steps)?;
    Some(median_mad::mad(&mut steps, middle)? * median_mad::NORMAL_CONSISTENCY)
}
