//! The per cent that are told, set right by what became of a site's own animals.
//!
//! An estimate rests on the base rate and the habits of simulated societies. Once a site has told of enough
//! animals whether they were pushed out, its own outcomes say how ln odds should be moved and stretched (Platt
//! 1999, Advances in Large Margin Classifiers, 61), drawn towards leaving them as they are by a prior, so that few
//! outcomes move little.

/// How ln odds are told: `slope · odds + shift`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recalibration {
    /// By what they are stretched.
    pub slope: f64,
    /// By what they are moved.
    pub shift: f64,
}

/// Standard deviations of the priors of slope and shift about 1 and 0: judgement.
const SLOPE_SD: f64 = 0.4;
const SHIFT_SD: f64 = 1.5;
const STEPS: usize = 50;

impl Recalibration {
    /// Leaves estimates as they are.
    pub const NONE: Self = Self { slope: 1.0, shift: 0.0 };

    /// By estimates of a site and whether it was so: the most likely slope and shift, by Newton's method.
    /// Estimates of 0 or 1 are taken for one in a million short of it.
    #[must_use]
    pub fn of(outcomes: &[(f64, bool)]) -> Self {
        let mut told = Self::NONE;
        for _ in 0..STEPS {
            let (slope_tie, shift_tie) = (SLOPE_SD.powi(-2), SHIFT_SD.powi(-2));
            let mut gradient = [(told.slope - 1.0) * slope_tie, told.shift * shift_tie];
            let mut bend = [slope_tie, 0.0, shift_tie];
            for (estimate, so) in outcomes {
                let odds = odds(*estimate);
                let p = told.logistic(odds);
                let off = p - f64::from(u8::from(*so));
                let spread = p * (1.0 - p);
                gradient = [gradient[0] + off * odds, gradient[1] + off];
                bend = [bend[0] + spread * odds * odds, bend[1] + spread * odds, bend[2] + spread];
            }
            let det = bend[0] * bend[2] - bend[1] * bend[1];
            let step = [
                (bend[2] * gradient[0] - bend[1] * gradient[1]) / det,
                (bend[0] * gradient[1] - bend[1] * gradient[0]) / det,
            ];
            told = Self {
                slope: (told.slope - step[0].clamp(-0.5, 0.5)).max(0.0),
                shift: told.shift - step[1].clamp(-1.0, 1.0),
            };
            if step[0].hypot(step[1]) < 1e-9 {
                break;
            }
        }
        told
    }

    /// The estimate as it is told.
    #[must_use]
    pub fn told(&self, estimate: f64) -> f64 {
        self.logistic(odds(estimate))
    }

    fn logistic(self, odds: f64) -> f64 {
        1.0 / (1.0 + (-(self.slope * odds + self.shift)).exp())
    }
}

fn odds(estimate: f64) -> f64 {
    let p = estimate.clamp(1e-6, 1.0 - 1e-6);
    (p / (1.0 - p)).ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    fn outcomes(n: usize, truth: impl Fn(f64) -> f64) -> Vec<(f64, bool)> {
        let mut chance = Chance::seeded(7);
        (0..n)
            .map(|_| {
                let estimate = chance.unit();
                (estimate, chance.happens(truth(estimate)))
            })
            .collect()
    }

    #[test]
    fn without_outcomes_nothing_moves() {
        assert_eq!(Recalibration::of(&[]), Recalibration::NONE);
        assert!((Recalibration::NONE.told(0.3) - 0.3).abs() < 1e-12);
    }

    #[test]
    fn many_outcomes_set_a_boastful_estimate_right() {
        let truth = |p: f64| Recalibration { slope: 0.6, shift: -0.8 }.told(p);
        let told = Recalibration::of(&outcomes(4_000, truth));
        for estimate in [0.1, 0.3, 0.5, 0.7, 0.9] {
            assert!((told.told(estimate) - truth(estimate)).abs() < 0.03, "{estimate}: {told:?}");
        }
    }

    #[test]
    fn few_outcomes_move_little_and_keep_the_order() {
        let told = Recalibration::of(&[(0.9, false), (0.8, false), (0.2, true)]);
        assert!((0.3..0.9).contains(&told.told(0.9)) && told.slope > 0.0, "{told:?}");
        assert!(told.told(0.9) > told.told(0.2));
    }
}
