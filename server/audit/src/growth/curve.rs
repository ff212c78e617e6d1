//! Growth curves of three coefficients, fitted to masses by age.

use super::Band;
use crate::stats::{count, least_squares, nonlinear, nonlinear::Curve};
use serde::{Deserialize, Serialize};

/// Largest relative standard error with which an adult mass is told (judgement, no source). A series that
/// ends while it still bends upwards does not know where it will end.
const MOST_UNCERTAIN: f64 = 0.1;
/// Adult masses to start from, as multiples of the heaviest reading.
const STARTS: [f64; 4] = [1.02, 1.2, 2.0, 5.0];

/// The shape of a curve. Each has an adult mass A, a rate k per day and an age T at which it grows fastest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// A / (1 + exp(−k(t − T))) (Verhulst 1838).
    Logistic,
    /// A · exp(−exp(−k(t − T))) (Gompertz 1825; in this form Winsor 1932, PNAS 18:1).
    Gompertz,
    /// A · (1 − exp(−k(t − T))/3)³, the mass form of von Bertalanffy (1957, Q Rev Biol 32:217).
    VonBertalanffy,
}

impl Shape {
    /// ln of the share of the adult mass that is reached where k(t − T) is `u`.
    fn log_share(self, u: f64) -> f64 {
        match self {
            Self::Logistic => -(-u).exp().ln_1p(),
            Self::Gompertz => -(-u).exp(),
            Self::VonBertalanffy => 3.0 * (-(-u).exp() / 3.0).ln_1p(),
        }
    }

    /// The mass at an age, in days, in the unit of the adult mass, for a rate a day and an age of fastest growth.
    #[must_use]
    pub fn mass(self, adult: f64, rate_per_day: f64, fastest_at: f64, age: f64) -> f64 {
        adult * self.log_share(rate_per_day * (age - fastest_at)).exp()
    }

    /// Undoes [`Self::log_share`].
    fn place(self, log_share: f64) -> f64 {
        match self {
            Self::Logistic => -(-log_share).exp_m1().ln(),
            Self::Gompertz => -(-log_share).ln(),
            Self::VonBertalanffy => -(-3.0 * (log_share / 3.0).exp_m1()).ln(),
        }
    }
}

/// A growth curve fitted to the masses of one animal, or of one kind.
#[derive(Clone, Debug)]
pub struct Growth {
    shape: Shape,
    fit: Curve<3>,
    /// Age at the last reading, in days.
    last: f64,
}

/// ln mass at an age, from ln A, ln k and T.
fn log_mass(shape: Shape) -> impl Fn(&[f64; 3], f64) -> f64 {
    move |[adult, rate, fastest], age| adult + shape.log_share(rate.exp() * (age - fastest))
}

impl Growth {
    /// Fits a curve to `(age in days, grams)` by least squares of ln mass, because readings err in
    /// proportion. `None` with fewer than five readings, a mass of nothing, or where the readings do not
    /// determine such a curve.
    #[must_use]
    pub fn fit(shape: Shape, points: &[(f64, f64)]) -> Option<Self> {
        if points.len() < 5 || points.iter().any(|(_, grams)| *grams <= 0.0) {
            return None;
        }
        let ages: Vec<f64> = points.iter().map(|(age, _)| *age).collect();
        let logs: Vec<f64> = points.iter().map(|(_, grams)| grams.ln()).collect();
        let heaviest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let last = ages.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let begun = |start: f64| {
            let adult = heaviest + start.ln();
            let places: Vec<f64> = logs.iter().map(|log| shape.place(log - adult)).collect();
            let line = least_squares::line(&ages, &places)?;
            let (shift, rate) = (line.coefficients[0], line.coefficients[1]);
            (rate > 0.0).then_some([adult, rate.ln(), -shift / rate])
        };
        let fits = STARTS
            .into_iter()
            .filter_map(begun)
            .filter_map(|begun| nonlinear::fit(&ages, &logs, begun, log_mass(shape)));
        let fit = fits.min_by(|one, other| one.squares.total_cmp(&other.squares))?;
        Some(Self { shape, fit, last })
    }

    /// The same shape fitted to other points, begun at this curve. `None` as for [`Self::fit`].
    pub(super) fn again(&self, points: &[(f64, f64)]) -> Option<Self> {
        let ages: Vec<f64> = points.iter().map(|(age, _)| *age).collect();
        let logs: Vec<f64> = points.iter().map(|(_, grams)| grams.ln()).collect();
        let fit = nonlinear::fit(&ages, &logs, self.fit.coefficients, log_mass(self.shape))?;
        let last = ages.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Some(Self { shape: self.shape, fit, last })
    }

    /// The shape that lies closest to the readings; all have as many coefficients.
    #[must_use]
    pub fn best(points: &[(f64, f64)]) -> Option<Self> {
        [Shape::Logistic, Shape::Gompertz, Shape::VonBertalanffy]
            .into_iter()
            .filter_map(|shape| Self::fit(shape, points))
            .min_by(|one, other| one.fit.squares.total_cmp(&other.fit.squares))
    }

    /// Its shape.
    #[must_use]
    pub const fn shape(&self) -> Shape {
        self.shape
    }

    /// k, per day.
    #[must_use]
    pub fn rate_per_day(&self) -> f64 {
        self.fit.coefficients[1].exp()
    }

    /// T: the age, in days, at which it grows fastest.
    #[must_use]
    pub const fn fastest_at(&self) -> f64 {
        self.fit.coefficients[2]
    }

    /// Adult mass with its 95 % interval. `None` where the readings do not tell: their standard error is
    /// more than a tenth of it, or they end before growth slows down.
    #[must_use]
    pub fn adult(&self) -> Option<Band> {
        let error = self.fit.standard_error(0);
        (error <= MOST_UNCERTAIN && self.last > self.fastest_at())
            .then(|| Band::of_log(self.fit.coefficients[0], error, self.fit.degrees_of_freedom()))
    }

    /// What a reading at an age, in days, is expected to show: the curve with the 95 % interval of a new
    /// reading.
    #[must_use]
    pub fn at(&self, age: f64) -> Band {
        let curve = log_mass(self.shape);
        let error = self.fit.error_at(age, &curve).hypot(self.fit.residual_sd());
        Band::of_log(curve(&self.fit.coefficients, age), error, self.fit.degrees_of_freedom())
    }

    /// Standard deviation of readings about the curve, in %.
    #[must_use]
    pub fn spread_percent(&self) -> f64 {
        100.0 * (self.fit.squares / count(self.fit.degrees_of_freedom())).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SHAPES: [Shape; 3] = [Shape::Logistic, Shape::Gompertz, Shape::VonBertalanffy];

    fn grown(shape: Shape, adult: f64, rate: f64, fastest: f64, ages: &[f64]) -> Vec<(f64, f64)> {
        let curve = log_mass(shape);
        ages.iter().map(|&age| (age, curve(&[adult.ln(), rate.ln(), fastest], age).exp())).collect()
    }

    proptest! {
        #[test]
        fn a_clean_curve_is_recovered(
            adult in 200.0..20_000.0f64, rate in 0.02..0.08f64, fastest in 15.0..27.0f64, place in 0usize..3,
        ) {
            let ages: Vec<f64> = (0..20).map(|week| 14.0 + 7.0 * f64::from(week)).collect();
            let told = Growth::fit(SHAPES[place], &grown(SHAPES[place], adult, rate, fastest, &ages)).unwrap();
            prop_assert!((told.adult().unwrap().expected.grams() / adult - 1.0).abs() < 1e-3, "{told:?}");
            prop_assert!((told.rate_per_day() / rate - 1.0).abs() < 1e-3);
            prop_assert!((told.fastest_at() - fastest).abs() < 0.1);
        }
    }

    #[test]
    fn place_undoes_share() {
        for shape in SHAPES {
            for u in [-0.9, 0.0, 0.5, 3.0] {
                assert!((shape.place(shape.log_share(u)) - u).abs() < 1e-9, "{shape:?} {u}");
            }
        }
    }

    #[test]
    fn an_animal_that_still_gains_faster_and_faster_has_no_adult_mass() {
        let wobble = |place: usize| 1.0 + 0.01 * ((place * 5 % 7) as f64 / 3.0 - 1.0);
        let ages: Vec<f64> = (0..10).map(|week| 7.0 * f64::from(week)).collect();
        let mut points = grown(Shape::Logistic, 5000.0, 0.04, 120.0, &ages);
        for (place, point) in points.iter_mut().enumerate() {
            point.1 *= wobble(place);
        }
        let told = Growth::fit(Shape::Logistic, &points);
        assert!(told.is_none_or(|told| told.adult().is_none()));
    }

    #[test]
    fn what_does_not_grow_has_no_curve() {
        let points: Vec<(f64, f64)> =
            (0..12).map(|week| (7.0 * f64::from(week), 900.0 - f64::from(week))).collect();
        assert!(SHAPES.into_iter().all(|shape| Growth::fit(shape, &points).is_none()));
        assert!(Growth::best(&points[..4]).is_none());
    }
}
