//! How the animals of a kind grow, from the history of a collection.

use super::{Band, Growth, Shape};
use crate::chance::Chance;
use crate::stats::{count, median_mad};
use crate::terms::Mass;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Animals that a curve of a kind needs: one or two tell of themselves only.
pub const FEWEST: usize = 5;
/// Resamples of the animals that tell how sure the curve is.
const RESAMPLES: usize = 99;
/// Weeks of age at which the curve is told.
const STEPS: f64 = 24.0;

/// How the animals of a kind grow.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kind {
    /// The shape that lies closest.
    pub shape: Shape,
    /// How many animals it rests on.
    pub animals: usize,
    /// How many of their weeks.
    pub weeks: usize,
    /// Adult mass with its 95 % interval; `None` where the animals do not tell.
    pub adult: Option<Band>,
    /// k, per day.
    pub rate_per_day: f64,
    /// T: the age, in days, at which they grow fastest.
    pub fastest_at: f64,
    /// Standard deviation of readings about the curve, animals and days together, in %.
    pub spread_percent: f64,
    /// The curve at some ages.
    pub points: Vec<AgePoint>,
}

/// The curve of a kind at an age.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AgePoint {
    /// Age in days.
    pub age: f64,
    /// The curve with its own 95 % interval: where other animals of the kind would have put it.
    pub curve: Band,
    /// What one animal may weigh: 95 % of readings.
    pub animal: Band,
}

/// The growth of a kind from its animals, each given as `(age in days, grams)` in any order. Readings of a
/// week of age count as their median, so that one weighed daily does not outweigh the others. How sure the
/// curve is comes from drawing the animals again (Efron 1979, Ann Stat 7:1, whole animals because the
/// readings of one resemble each other), always the same draws. `None` with fewer than [`FEWEST`] animals of
/// five weeks each, or where they determine no curve.
#[must_use]
pub fn of_kind(animals: &[Vec<(f64, f64)>]) -> Option<Kind> {
    let herd: Vec<Vec<(f64, f64)>> =
        animals.iter().map(|points| weekly(points)).filter(|weeks| weeks.len() >= 5).collect();
    if herd.len() < FEWEST {
        return None;
    }
    let all: Vec<(f64, f64)> = herd.iter().flatten().copied().collect();
    let growth = Growth::best(&all)?;
    let shape = growth.shape();
    let mut chance = Chance::seeded(u64::try_from(herd.len()).unwrap_or_default());
    let drawn: Vec<Growth> = (0..RESAMPLES)
        .filter_map(|_| {
            let again: Vec<(f64, f64)> =
                (0..herd.len()).flat_map(|_| herd[chance.below(herd.len())].iter().copied()).collect();
            growth.again(&again)
        })
        .collect();
    // A curve that most draws do not determine is not determined.
    if drawn.len() * 2 < RESAMPLES {
        return None;
    }
    let (first, last) = all
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(first, last), (age, _)| (first.min(*age), last.max(*age)));
    let point = |step: f64| {
        let age = first + (last - first) * step / STEPS;
        let animal = growth.at(age);
        let curve = drawn.iter().map(|one| one.at(age).expected.grams()).collect();
        Some(AgePoint { age, curve: between(animal.expected, curve)?, animal })
    };
    let adult = growth.adult().and_then(|own| {
        let told: Vec<f64> = drawn.iter().filter_map(|one| Some(one.adult()?.expected.grams())).collect();
        (told.len() * 2 >= RESAMPLES).then(|| between(own.expected, told)).flatten()
    });
    Some(Kind {
        shape,
        animals: herd.len(),
        weeks: all.len(),
        adult,
        rate_per_day: growth.rate_per_day(),
        fastest_at: growth.fastest_at(),
        spread_percent: growth.spread_percent(),
        points: (0..=24).filter_map(|step| point(f64::from(step))).collect(),
    })
}

/// The middle 95 % of some masses, in grams, about what was told.
fn between(expected: Mass, mut grams: Vec<f64>) -> Option<Band> {
    grams.sort_by(f64::total_cmp);
    let last = grams.len().checked_sub(1)?;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 98")]
    let at = |share: f64| grams[(share * count(last)).round() as usize];
    Some(Band {
        expected,
        low: Mass::from_grams(at(0.025)).min(expected),
        high: Mass::from_grams(at(0.975)).max(expected),
    })
}

/// One point for each week of age.
fn weekly(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut weeks: BTreeMap<u32, Vec<(f64, f64)>> = BTreeMap::new();
    for (age, grams) in points.iter().copied().filter(|(age, grams)| *age >= 0.0 && *grams > 0.0) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "weeks of a life")]
        let week = (age / 7.0) as u32;
        weeks.entry(week).or_default().push((age, grams));
    }
    weeks
        .into_values()
        .filter_map(|of_one| {
            let age = of_one.iter().map(|(age, _)| age).sum::<f64>() / count(of_one.len());
            let mut grams: Vec<f64> = of_one.iter().map(|(_, grams)| *grams).collect();
            Some((age, median_mad::median(&mut grams)?))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gompertz animals of 8 kg, give or take 6 % of each animal and 1 % of each reading.
    fn herd(animals: usize, weeks: u32) -> Vec<Vec<(f64, f64)>> {
        let mut chance = Chance::seeded(11);
        let mut normal = |sd: f64| sd * crate::stats::normal::quantile(chance.unit().max(1e-12));
        (0..animals)
            .map(|_| {
                let own = normal(0.06);
                (0..weeks)
                    .map(|week| {
                        let age = 7.0 * f64::from(week) + 3.0;
                        let log = 8000_f64.ln() - (-0.02 * (age - 60.0)).exp();
                        (age, (log + own + normal(0.01)).exp())
                    })
                    .collect()
            })
            .collect()
    }

    #[test]
    fn the_curve_is_surer_than_one_animal_and_holds_the_truth() {
        let told = of_kind(&herd(12, 52)).unwrap();
        assert_eq!((told.shape, told.animals, told.weeks), (Shape::Gompertz, 12, 12 * 52));
        let adult = told.adult.unwrap();
        assert!(adult.holds(Mass::from_grams(8000.0)), "{adult:?}");
        assert!((told.rate_per_day - 0.02).abs() < 0.003, "{}", told.rate_per_day);
        for at in &told.points {
            let width = |band: &Band| band.high.grams() / band.low.grams();
            assert!(width(&at.curve) < width(&at.animal), "{at:?}");
        }
        assert_eq!(of_kind(&herd(12, 52)), Some(told), "the same again");
    }

    /// The intervals of a pooled fit would take 600 readings for 600 animals.
    #[test]
    fn few_animals_with_many_readings_are_few() {
        let herd = herd(6, 52);
        let told = of_kind(&herd).unwrap();
        let pooled = Growth::best(&herd.concat()).unwrap().adult().unwrap();
        let width = |band: Band| band.high.grams() - band.low.grams();
        assert!(width(told.adult.unwrap()) > 2.0 * width(pooled), "{told:?} {pooled:?}");
    }

    #[test]
    fn four_animals_are_no_kind() {
        assert_eq!(of_kind(&herd(4, 52)), None);
        assert_eq!(of_kind(&herd(12, 4)), None);
    }
}
