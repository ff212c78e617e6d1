//! The yearly pattern of weight: many animals fatten before winter and thin out before spring, and
//! that is no loss.
//!
//! A pattern is a sum of two waves over the year (harmonic regression on ln mass, beside a level and
//! a straight drift), fitted robustly: weeks far off count less (Huber 1964, Ann Math Stat 35:73).
//! What a single animal's years show is drawn towards nothing by as much as chance could have made it
//! (James & Stein 1961, as positive part, per wave).

use crate::stats::{count, least_squares, median_mad};
use crate::terms::Day;
use chrono::Datelike;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Length of the year in days, leap years evened out.
const YEAR: f64 = 365.25;
/// Level, drift, and a cosine and a sine for each of two waves.
const COLUMNS: usize = 6;
/// Residuals beyond this many spreads count less (Huber's 1.345 keeps 95 % efficiency).
const HUBER: f64 = 1.345;

/// A yearly pattern of ln mass, averaging zero over the year.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Season {
    /// Cosine and sine of one wave a year, then of two waves a year, from 1 January.
    pub waves: [f64; 4],
}

impl Season {
    /// How far above (or below) its yearly mean ln mass lies on `day`.
    #[must_use]
    pub fn log(&self, day: Day) -> f64 {
        waves(day).iter().zip(self.waves).map(|(wave, size)| wave * size).sum()
    }

    /// Both patterns on top of each other.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        Self { waves: std::array::from_fn(|place| self.waves[place] + other.waves[place]) }
    }

    /// The pattern of one animal from `(day, ln mass)` in order of time. `None` unless the days span
    /// two years and fill at least half of their weeks: in less, a pattern cannot be told from a loss.
    #[must_use]
    pub fn of_one(points: &[(Day, f64)]) -> Option<Self> {
        let told = Harmonics::fit(points, 2.0)?;
        Some(Self { waves: std::array::from_fn(|place| told.waves[place] * told.trust[place / 2]) })
    }

    /// The pattern that the animals of one kind share: the median of each wave over at least eight of
    /// them, of which each has a year on record. One of them that was ill does not bend it.
    #[must_use]
    pub fn of_kind<'a>(animals: impl IntoIterator<Item = &'a [(Day, f64)]>) -> Option<Self> {
        let each: Vec<Harmonics> =
            animals.into_iter().filter_map(|points| Harmonics::fit(points, 1.0)).collect();
        if each.len() < 8 {
            return None;
        }
        let middle = |place: usize| {
            median_mad::median(&mut each.iter().map(|told| told.waves[place]).collect::<Vec<_>>())
        };
        Some(Self { waves: [middle(0)?, middle(1)?, middle(2)?, middle(3)?] })
    }
}

/// The four waves on `day`.
fn waves(day: Day) -> [f64; 4] {
    let turn = TAU * f64::from(day.ordinal0()) / YEAR;
    let (sin, cos) = turn.sin_cos();
    [cos, sin, cos * cos - sin * sin, 2.0 * sin * cos]
}

/// A fit as it comes, with how much of each wave is more than chance.
struct Harmonics {
    waves: [f64; 4],
    trust: [f64; 2],
}

impl Harmonics {
    fn fit(points: &[(Day, f64)], least_years: f64) -> Option<Self> {
        let (first, last) = (points.first()?.0, points.last()?.0);
        let days = count(usize::try_from((last - first).num_days()).ok()?);
        if days < (least_years * YEAR - 14.0) || count(points.len()) < days / 14.0 {
            return None;
        }
        let mut weights = vec![1.0; points.len()];
        let mut design = Vec::with_capacity(points.len() * COLUMNS);
        let mut ys = Vec::with_capacity(points.len());
        let mut fit = None;
        for _ in 0..3 {
            design.clear();
            ys.clear();
            for ((day, log), weight) in points.iter().zip(&weights) {
                let drift = (*day - first).num_days() as f64 / YEAR;
                let [cos, sin, cos2, sin2] = waves(*day);
                design.extend([1.0, drift, cos, sin, cos2, sin2].map(|entry| entry * weight));
                ys.push(log * weight);
            }
            let told = least_squares::fit(&design, COLUMNS, &ys)?;
            let rests: Vec<f64> = design
                .chunks_exact(COLUMNS)
                .zip(&ys)
                .zip(&weights)
                .map(|((row, y), weight)| {
                    let fitted: f64 = row.iter().zip(&told.coefficients).map(|(a, b)| a * b).sum();
                    (y - fitted) / weight
                })
                .collect();
            let spread = median_mad::mad(&mut rests.clone(), 0.0)? * median_mad::NORMAL_CONSISTENCY;
            for (weight, rest) in weights.iter_mut().zip(&rests) {
                // The square root, because it multiplies both sides of the equation.
                *weight = (HUBER * spread / rest.abs().max(f64::MIN_POSITIVE)).min(1.0).sqrt();
            }
            fit = Some((told, rests));
        }
        let (told, rests) = fit?;
        let inflation = persistence(&rests);
        let waves: [f64; 4] = std::array::from_fn(|place| told.coefficients[place + 2]);
        let trust = std::array::from_fn(|wave| {
            let size = waves[2 * wave].powi(2) + waves[2 * wave + 1].powi(2);
            let chance: f64 =
                (0..2).map(|side| told.standard_error(2 + 2 * wave + side).powi(2) * inflation).sum();
            (1.0 - chance / size.max(f64::MIN_POSITIVE)).max(0.0)
        });
        Some(Self { waves, trust })
    }
}

/// By how much residuals that resemble their predecessor inflate the variance of a slow wave:
/// (1 + ρ)/(1 − ρ) of a first-order autoregression.
fn persistence(rests: &[f64]) -> f64 {
    let own: f64 = rests.iter().map(|rest| rest * rest).sum();
    let next: f64 = rests.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let rho = (next / own.max(f64::MIN_POSITIVE)).clamp(0.0, 0.8);
    (1.0 + rho) / (1.0 - rho)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;
    use proptest::prelude::*;

    fn weekly(weeks: u64, log: impl Fn(Day, u64) -> f64) -> Vec<(Day, f64)> {
        let start: Day = "2022-02-07".parse().unwrap();
        (0..weeks).map(|week| (start + Days::new(7 * week), log(start + Days::new(7 * week), week))).collect()
    }

    proptest! {
        #[test]
        fn a_clean_pattern_is_recovered_under_a_drift(
            waves in proptest::array::uniform4(0.02..0.1f64), drift in -0.001..0.001f64,
        ) {
            let true_season = Season { waves };
            let points = weekly(156, |day, week| 8.0 + drift * week as f64 + true_season.log(day));
            let told = Season::of_one(&points).unwrap();
            for (ours, truth) in told.waves.iter().zip(waves) {
                prop_assert!((ours - truth).abs() < 1e-9);
            }
        }

        #[test]
        fn a_bad_month_does_not_bend_it(start in 0u64..150) {
            let true_season = Season { waves: [0.05, 0.0, 0.0, 0.02] };
            let points = weekly(156, |day, week| {
                let ill = if (start..start + 4).contains(&week) { -0.2 } else { 0.0 };
                8.0 + true_season.log(day) + ill + 0.005 * ((week * 7919 % 13) as f64 / 6.0 - 1.0)
            });
            let told = Season::of_one(&points).unwrap();
            for (ours, truth) in told.waves.iter().zip(true_season.waves) {
                prop_assert!((ours - truth).abs() < 0.006, "{:?}", told.waves);
            }
        }
    }

    #[test]
    fn less_than_two_years_tell_nothing_of_one() {
        let flat = |_, _| 8.0;
        assert!(Season::of_one(&weekly(100, flat)).is_none());
        assert!(Season::of_one(&weekly(105, flat)).is_some());
        let sparse: Vec<_> = weekly(156, flat).into_iter().step_by(3).collect();
        assert!(Season::of_one(&sparse).is_none());
    }

    #[test]
    fn a_kind_needs_eight_animals() {
        let pattern = Season { waves: [0.05, -0.02, 0.0, 0.0] };
        let animals: Vec<_> =
            (0..8u64).map(|k| weekly(53, |day, _| 7.0 + k as f64 + pattern.log(day))).collect();
        assert_eq!(Season::of_kind(animals[1..].iter().map(Vec::as_slice)), None);
        let told = Season::of_kind(animals.iter().map(Vec::as_slice)).unwrap();
        assert!((told.waves[0] - 0.05).abs() < 1e-9 && (told.waves[1] + 0.02).abs() < 1e-9);
    }
}
