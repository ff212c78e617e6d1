//! How fast young animals of a kind gain, by how much of their grown mass they have: learnt from those that grew up
//! here, and the mean of three textbook curves until then (logistic; Gompertz 1825; von Bertalanffy 1938 for mass, the
//! cube of that for length: Zeide 1993, Forest Science 39:594, all from memory).
//!
//! A *share* is ln(mass / grown mass), zero or less; a *pace* is the gain of ln mass a week.

use serde::{Deserialize, Serialize};

/// Classes of ln share, and how wide each is.
const CLASSES: usize = 16;
const WIDTH: f64 = 0.2;
/// Readings that the textbook weighs as much as, and most that are remembered.
const TEXTBOOK: f64 = 10.0;
const REMEMBERED: f64 = 200.0;
/// A slope below which a curve has come to its end, in ln mass a week.
const END: f64 = 0.002;

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Class {
    readings: f64,
    slope: f64,
}

/// What is learnt.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Curve([Class; CLASSES]);

impl Curve {
    /// A young animal with such a ln share of its grown mass gains so much a week.
    pub(super) fn learns(&mut self, share: f64, slope: f64) {
        let class = &mut self.0[place(share)];
        class.readings = (class.readings + 1.0).min(REMEMBERED);
        class.slope += (slope - class.slope) / class.readings;
    }

    /// How fast one of a ln share gains, and how many readings tell that.
    pub(super) fn pace(&self, share: f64) -> (f64, f64) {
        // Between the middles of two classes.
        let along = (-share / WIDTH - 0.5).clamp(0.0, (CLASSES - 1) as f64);
        let left = place(-(along.floor() + 0.5) * WIDTH);
        let right = (left + 1).min(CLASSES - 1);
        let part = along.fract();
        let (one, two) = (self.0[left], self.0[right]);
        let slope = (1.0 - part) * one.slope + part * two.slope;
        (slope, (one.readings).min(two.readings))
    }

    /// By which part of itself a slope falls in a week, for one of a ln share that gains so much.
    pub(super) fn slowing(&self, share: f64, slope: f64) -> f64 {
        let textbook = textbook(share, slope);
        let (now, readings) = self.pace(share);
        let (next, more) = self.pace((share + slope).min(0.0));
        if now < END || readings.min(more) < 1.0 {
            return textbook;
        }
        let learnt = -(next.max(END) / now).ln().clamp(-0.5, 0.1);
        let known = readings.min(more);
        (known * learnt + TEXTBOOK * textbook) / (known + TEXTBOOK)
    }
}

/// The mean of what a logistic curve, Gompertz's and von Bertalanffy's say.
fn textbook(share: f64, slope: f64) -> f64 {
    let part = share.exp().clamp(0.03, 0.94);
    let root = part.cbrt().recip();
    slope * (part / (1.0 - part) + part.ln().recip().abs() + root / (3.0 * (root - 1.0))) / 3.0
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 15")]
fn place(share: f64) -> usize {
    (-share / WIDTH).clamp(0.0, (CLASSES - 1) as f64) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_is_learnt_from_those_that_grew_up() {
        // Logistic, and twice as quick to slow down as any textbook.
        let pace = |share: f64| 0.3 * (1.0 - share.exp());
        let mut curve = Curve::default();
        for step in 0..600_u32 {
            let share = -0.005 * f64::from(step % 600);
            for _ in 0..4 {
                curve.learns(share, pace(share));
            }
        }
        for share in [-2.0, -1.0, -0.5] {
            let (learnt, readings) = curve.pace(share);
            assert!(readings > 20.0 && (learnt / pace(share) - 1.0).abs() < 0.05, "{share}: {learnt}");
        }
        let share = -0.5;
        let next = pace(share + pace(share));
        let truth = -(next / pace(share)).ln();
        let slowing = curve.slowing(share, pace(share));
        assert!((slowing / truth - 1.0).abs() < 0.4, "{slowing} for {truth}");
    }

    #[test]
    fn until_then_it_slows_down_as_textbooks_say() {
        let curve = Curve::default();
        let early = curve.slowing(-2.0, 0.1);
        let late = curve.slowing(-0.2, 0.1);
        assert!(early > 0.0 && late > early, "{early} {late}");
    }
}
