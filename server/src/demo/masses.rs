//! Invented masses: the same each time.

use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use std::f64::consts::TAU;

/// How an animal's mass goes, in grams.
#[derive(Clone, Copy)]
pub(super) enum Course {
    /// Steady.
    Adult(f64),
    /// Heavier in late autumn than in spring.
    Seasonal(f64),
    /// Grows to this.
    Young(f64),
    /// Loses about one percent a week in the last so many weeks.
    Losing(f64, i64),
    /// Refuses the scale in the last so many weeks, and was a little lighter before.
    Refusing(f64, i64),
}

/// What comes of a weighing.
pub(super) enum Weighed {
    Grams(f64),
    Tried,
    /// Nobody came to it.
    Skipped,
}

impl Course {
    /// The weighing of animal `n` in week `week` of `weeks`; for a young animal, `age` weeks old.
    pub(super) fn weigh(self, n: u64, week: i64, weeks: i64, age: i64) -> Weighed {
        let mut chance = StdRng::seed_from_u64(n * 10_007 + week.unsigned_abs());
        let noise = (0..4).map(|_| chance.random_range(-1.0..1.0)).sum::<f64>() * 0.008;
        let left = weeks - 1 - week;
        let usual = match self {
            Self::Refusing(_, last) if left < last => return Weighed::Tried,
            _ if left > 1 && chance.random_bool(0.04) => return Weighed::Skipped,
            _ if left > 4 && chance.random_bool(0.01) => return Weighed::Tried,
            Self::Adult(usual) => usual,
            Self::Seasonal(usual) => usual * (1.0 + 0.09 * (fraction(week) * TAU).sin()),
            Self::Young(grown) => grown / (1.0 + (-(small(age) - 14.0) / 6.0).exp()),
            Self::Losing(usual, last) => usual * (1.0 - 0.0115 * small((last - left).max(0))),
            Self::Refusing(usual, last) => usual * (1.0 - 0.006 * small((last + 4 - left).max(0))),
        };
        Weighed::Grams(usual * (1.0 + noise))
    }
}

/// Weeks as a part of a year.
fn fraction(weeks: i64) -> f64 {
    small(weeks) / 52.18
}

fn small(weeks: i64) -> f64 {
    f64::from(i32::try_from(weeks).unwrap_or(i32::MAX))
}
