//! Events per hour watched, with the interval that so few events leave open.
//!
//! An animal that is watched longer is seen to be chased more often. Counts are therefore always divided
//! by the time the animal itself was watched (Altmann 1974, Behaviour 49:227).

use crate::stats::exact::{self, Range};
use serde::Serialize;
use std::ops::Add;

/// Events of one kind and the time in which they would have been seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Watched {
    /// How many were seen.
    pub events: u32,
    /// Hours for which the animal was watched.
    pub hours: f64,
}

/// A rate with its exact interval of 95 %.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Rate {
    /// Events per hour.
    pub per_hour: f64,
    /// Exact Poisson interval (Garwood 1936).
    pub range: Range,
}

impl Add for Watched {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { events: self.events + other.events, hours: self.hours + other.hours }
    }
}

impl Watched {
    /// Events per hour; `None` where the animal was not watched.
    #[must_use]
    pub fn rate(&self) -> Option<Rate> {
        if self.hours <= 0.0 {
            return None;
        }
        let mean = exact::poisson_mean(self.events, 0.95);
        Some(Rate {
            per_hour: f64::from(self.events) / self.hours,
            range: Range { low: mean.low / self.hours, high: mean.high / self.hours },
        })
    }

    /// Probability of at least so many events if the rate were still that of `before`; `None` where it
    /// was not watched then or now.
    #[must_use]
    pub fn rose_from(&self, before: Self) -> Option<f64> {
        exact::rate_rose(self.events, self.hours, before.events, before.hours)
    }
}

/// A share with its exact interval of 95 %.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Share {
    /// From 0 to 1.
    pub share: f64,
    /// Exact binomial interval (Clopper & Pearson 1934).
    pub range: Range,
}

/// The share that `hits` are of `trials`; `None` without trials.
#[must_use]
pub fn share(hits: u32, trials: u32) -> Option<Share> {
    (trials > 0).then(|| Share {
        share: f64::from(hits.min(trials)) / f64::from(trials),
        range: exact::share(hits, trials, 0.95),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twice_the_watching_is_half_the_rate() {
        let rate = |hours| Watched { events: 6, hours }.rate().unwrap();
        assert!((rate(4.0).per_hour - 2.0 * rate(8.0).per_hour).abs() < 1e-12);
        assert!(rate(4.0).range.contains(1.5));
    }

    #[test]
    fn without_watching_there_is_no_rate() {
        assert_eq!(Watched { events: 0, hours: 0.0 }.rate(), None);
        assert_eq!(share(0, 0), None);
    }
}
