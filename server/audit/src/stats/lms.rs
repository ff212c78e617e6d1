//! Reference curves as L, M, S: a Box–Cox power, a median and a coefficient of variation for each age.
//!
//! Source: Cole & Green 1992, Stat Med 11:1305–1319.
//!
//! **Tails.** Beyond three standard deviations a fitted power says little. [`Lms::z`] is the formula as
//! published; [`Lms::z_linear_tails`] goes on in steps of the last standard deviation inside, as the WHO
//! child growth standards do for weight (WHO 2006, ISBN 92 4 154693 X). They agree within ±3; say which is
//! shown.

use serde::{Deserialize, Serialize};

/// What is usual at one age.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lms {
    /// Box–Cox power; 0 for the logarithm.
    pub l: f64,
    /// Median, in the unit of the measure; above 0.
    pub m: f64,
    /// Coefficient of variation; above 0.
    pub s: f64,
}

/// Powers closer to nothing than this are taken as the logarithm, to which the formula tends.
const LEAST_POWER: f64 = 1e-9;
/// Standard deviations within which a power is believed.
const BELIEVED: f64 = 3.0;

impl Lms {
    /// How many standard deviations `x` lies above the median. `None` unless `x` is above 0.
    #[must_use]
    pub fn z(&self, x: f64) -> Option<f64> {
        let Self { l, m, s } = *self;
        (x > 0.0)
            .then(|| if l.abs() < LEAST_POWER { (x / m).ln() / s } else { ((x / m).powf(l) - 1.0) / (l * s) })
    }

    /// The same, in steps of the last standard deviation inside where it lies beyond ±3. `None` unless
    /// `x` is above 0, or where the curve does not reach so far.
    #[must_use]
    pub fn z_linear_tails(&self, x: f64) -> Option<f64> {
        let z = self.z(x)?;
        if z.abs() <= BELIEVED {
            return Some(z);
        }
        let side = z.signum();
        let (edge, inside) = (self.value(side * BELIEVED)?, self.value(side * (BELIEVED - 1.0))?);
        Some(side * BELIEVED + (x - edge) / (edge - inside).abs())
    }

    /// The measure that lies `z` standard deviations above the median. `None` where the curve does not
    /// reach so far.
    #[must_use]
    pub fn value(&self, z: f64) -> Option<f64> {
        let Self { l, m, s } = *self;
        if l.abs() < LEAST_POWER {
            return Some(m * (s * z).exp());
        }
        let base = 1.0 + l * s * z;
        (base > 0.0).then(|| m * base.powf(l.recip()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn value_and_z_undo_one_another(l in -1.5..1.5f64, m in 0.01..1e4f64, s in 0.02..0.25f64, z in -2.0..2.0f64) {
            let curve = Lms { l, m, s };
            let x = curve.value(z).unwrap();
            prop_assert!((curve.z(x).unwrap() - z).abs() < 1e-6);
        }

        #[test]
        fn linear_tails_join_without_a_step(l in -1.5..1.5f64, s in 0.02..0.15f64, side in prop::bool::ANY) {
            let curve = Lms { l, m: 10.0, s };
            let edge = if side { 3.0 } else { -3.0 };
            let beyond = curve.value(edge).unwrap() * if side { 1.0 + 1e-9 } else { 1.0 - 1e-9 };
            prop_assert!((curve.z_linear_tails(beyond).unwrap() - edge).abs() < 1e-4);
        }
    }

    #[test]
    fn nothing_has_no_place_on_a_curve() {
        let curve = Lms { l: 0.5, m: 10.0, s: 0.1 };
        assert_eq!((curve.z(0.0), curve.z(-1.0), curve.value(-30.0)), (None, None, None));
    }
}
