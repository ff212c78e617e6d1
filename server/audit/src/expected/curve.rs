//! How fast young animals of a kind gain, by how much of their grown mass they have: learnt from those that grew up
//! here, and the middle of three textbook curves until then.

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

/// The middle of what a logistic curve, Gompertz's and von Bertalanffy's say.
fn textbook(share: f64, slope: f64) -> f64 {
    let part = share.exp().clamp(0.03, 0.94);
    let root = part.cbrt().recip();
    slope * (part / (1.0 - part) + part.ln().recip().abs() + root / (3.0 * (root - 1.0))) / 3.0
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 15")]
fn place(share: f64) -> usize {
    (-share / WIDTH).clamp(0.0, (CLASSES - 1) as f64) as usize
}
