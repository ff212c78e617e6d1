//! How far a count lies from what one would expect of this animal now.
//!
//! What is expected is predicted from the animal's own past, started off from what its companions are
//! like (an animal without a past is taken to be like them), and moved by as much as the companions'
//! own counts moved meanwhile. The prediction is a whole distribution, negative binomial for counts over
//! hours and beta-binomial for counts out of trials (Gelman et al. 2013, Bayesian Data Analysis, 3rd
//! ed., §2.6 and §2.4 for the conjugate updates), so that little watching predicts little and surprises
//! nobody. How strongly companions inform the start is a choice of Holt's: as two events, or four trials.

use crate::standing::rates::Watched;
use crate::stats::normal;
use serde::Serialize;
use statrs::distribution::{Discrete, DiscreteCDF, NegativeBinomial};
use statrs::function::beta::ln_beta;
use statrs::function::factorial::ln_binomial;
use std::ops::Add;

/// Events that the companions' rate is worth.
const PRIOR_EVENTS: f64 = 2.0;

/// Trials that the companions' share is worth.
const PRIOR_TRIALS: f64 = 4.0;

/// Where it is not known how the companions fared meanwhile, the past predicts no more than so many
/// events or trials of it would: what concerns everybody cannot be told from what concerns one.
const MOST_ALONE: f64 = 6.0;

/// More surprise than this is told as this much: beyond it the model is wrong rather than the animal odd.
pub const MOST: f64 = 4.0;

/// One quantity of an animal and of its companions, now and in the past.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Four<T> {
    /// The animal now.
    pub own_now: T,
    /// The animal in the past.
    pub own_past: T,
    /// All companions together, now.
    pub others_now: T,
    /// All companions together, in the past.
    pub others_past: T,
}

/// How many of how many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Trials {
    /// How many had it.
    pub hits: u32,
    /// How many there were.
    pub of: u32,
}

impl Add for Trials {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { hits: self.hits + other.hits, of: self.of + other.of }
    }
}

/// What was seen against what was expected.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Surprise<T> {
    /// The counts it comes from.
    pub counts: Four<T>,
    /// Events that would have been expected now.
    pub expected: f64,
    /// How far above that the events seen lie, in standard deviations of a normal with the same tail; 0
    /// where they lie below, and no more than [`MOST`].
    pub excess: f64,
}

/// Surprise at a count over hours watched. `None` where the animal was not watched now, or where there
/// is nothing to compare with.
#[must_use]
pub fn of_rate(counts: Four<Watched>) -> Option<Surprise<Watched>> {
    let Four { own_now, own_past, others_now, others_past } = counts;
    if own_now.hours <= 0.0 {
        return None;
    }
    // Companions of the past tell what animals here are like; where there are none, those of now do, and
    // where there are none at all, the animal's own past does.
    let alike = [others_past, others_now, own_past].into_iter().find(|watched| watched.hours > 0.0)?;
    let typical = (f64::from(alike.events) + 0.5) / alike.hours;
    let moved = rate_moved(others_past, others_now);
    let (shape, rate) = (PRIOR_EVENTS + f64::from(own_past.events), PRIOR_EVENTS / typical + own_past.hours);
    let trust = if moved.is_some() { 1.0 } else { (MOST_ALONE / shape).min(1.0) };
    let (shape, rate) = (shape * trust, rate * trust);
    let exposure = own_now.hours * moved.unwrap_or(1.0);
    let law = NegativeBinomial::new(shape, rate / (rate + exposure)).ok()?;
    let seen = u64::from(own_now.events);
    let tail = law.sf(seen) + law.pmf(seen) / 2.0;
    Some(Surprise { counts, expected: shape * exposure / rate, excess: excess(tail) })
}

/// Surprise at a count out of trials. `None` where there were none now, or where there is nothing to
/// compare with.
#[must_use]
pub fn of_share(counts: Four<Trials>) -> Option<Surprise<Trials>> {
    let Four { own_now, own_past, others_now, others_past } = counts;
    if own_now.of == 0 {
        return None;
    }
    let alike = [others_past, others_now, own_past].into_iter().find(|trials| trials.of > 0)?;
    let typical = (f64::from(alike.hits) + 0.5) / (f64::from(alike.of) + 1.0);
    let strength = PRIOR_TRIALS + f64::from(own_past.of);
    let mean = (PRIOR_TRIALS * typical + f64::from(own_past.hits)) / strength;
    let moved = odds_moved(others_past, others_now);
    let strength = if moved.is_some() { strength } else { strength.min(MOST_ALONE) };
    let moved = moved.unwrap_or(1.0);
    let mean = mean * moved / (1.0 - mean + mean * moved);
    let (a, b) = (mean * strength, (1.0 - mean) * strength);
    let trials = f64::from(own_now.of);
    let probability = |k: u32| {
        let hits = f64::from(k);
        (ln_binomial(u64::from(own_now.of), u64::from(k)) + ln_beta(hits + a, trials - hits + b)
            - ln_beta(a, b))
        .exp()
    };
    let above: f64 = (own_now.hits + 1..=own_now.of).map(probability).sum();
    let tail = above + probability(own_now.hits) / 2.0;
    Some(Surprise { counts, expected: trials * mean, excess: excess(tail) })
}

/// By what factor the companions' rate moved, drawn towards 1 where they were watched little.
fn rate_moved(past: Watched, now: Watched) -> Option<f64> {
    let hours = past.hours + now.hours;
    if past.hours <= 0.0 || now.hours <= 0.0 {
        return None;
    }
    let pooled = (f64::from(past.events) + f64::from(now.events) + 0.5) / hours;
    let drawn = |w: Watched| (f64::from(w.events) + PRIOR_EVENTS) / (w.hours + PRIOR_EVENTS / pooled);
    Some(drawn(now) / drawn(past))
}

/// By what factor the companions' odds moved, drawn towards 1 where they were seen little.
fn odds_moved(past: Trials, now: Trials) -> Option<f64> {
    if past.of == 0 || now.of == 0 {
        return None;
    }
    let pooled = (f64::from(past.hits) + f64::from(now.hits) + 0.5) / (f64::from(past.of + now.of) + 1.0);
    // By as much as two hits (or two misses, where nearly all are hits) would weigh: where there were few, none
    // this time says little.
    let weight = PRIOR_EVENTS / pooled.min(1.0 - pooled);
    let odds = |t: Trials| {
        let share = (f64::from(t.hits) + weight * pooled) / (f64::from(t.of) + weight);
        share / (1.0 - share)
    };
    Some(odds(now) / odds(past))
}

fn excess(tail: f64) -> f64 {
    // A tail that rounds to nothing is as far out as can be told.
    if tail <= 0.0 { MOST } else { (-normal::quantile(tail.min(1.0 - 1e-12))).clamp(0.0, MOST) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn watched(events: u32, hours: f64) -> Watched {
        Watched { events, hours }
    }

    fn four<T>(own_now: T, own_past: T, others_now: T, others_past: T) -> Four<T> {
        Four { own_now, own_past, others_now, others_past }
    }

    fn rate(own_now: Watched, own_past: Watched, others_now: Watched, others_past: Watched) -> f64 {
        of_rate(four(own_now, own_past, others_now, others_past)).unwrap().excess
    }

    #[test]
    fn an_animal_that_was_always_low_surprises_nobody() {
        let excess = rate(watched(12, 4.0), watched(72, 24.0), watched(8, 20.0), watched(48, 120.0));
        assert!(excess < 0.7, "{excess}");
        // The same count of one that used to be left in peace does.
        let excess = rate(watched(12, 4.0), watched(9, 24.0), watched(8, 20.0), watched(48, 120.0));
        assert!(excess > 2.5, "{excess}");
    }

    #[test]
    fn unrest_that_concerns_all_surprises_less_than_what_concerns_one() {
        let alone = rate(watched(9, 4.0), watched(18, 24.0), watched(16, 20.0), watched(96, 120.0));
        let all = rate(watched(9, 4.0), watched(18, 24.0), watched(48, 20.0), watched(96, 120.0));
        assert!(alone > 1.5 && all < 0.5, "{alone} {all}");
    }

    #[test]
    fn little_watching_surprises_little() {
        let excess = |scale: f64, events| {
            rate(watched(events, scale), watched(2, 6.0), watched(2, 6.0), watched(12, 36.0))
        };
        assert!(excess(0.5, 1) < 1.5 && excess(4.0, 8) > 2.0, "{} {}", excess(0.5, 1), excess(4.0, 8));
        assert_eq!(of_rate(four(watched(0, 0.0), watched(1, 9.0), watched(1, 9.0), watched(1, 9.0))), None);
        let nothing = watched(0, 0.0);
        assert_eq!(of_rate(four(watched(3, 1.0), nothing, nothing, nothing)), None);
    }

    /// Not knowing how the companions fared, one is less sure that it concerns this animal.
    #[test]
    fn without_companions_to_compare_with_surprise_is_less() {
        let nothing = watched(0, 0.0);
        let with = rate(watched(14, 6.0), watched(24, 24.0), watched(20, 20.0), watched(120, 120.0));
        let without = rate(watched(14, 6.0), watched(24, 24.0), nothing, nothing);
        assert!(without < with && with > 2.0, "{without} {with}");
    }

    #[test]
    fn shares_are_predicted_as_rates_are() {
        let trials = |hits, of| Trials { hits, of };
        let share = |now, past, others_now, others_past| of_share(four(now, past, others_now, others_past));
        let kept_off = share(trials(7, 10), trials(6, 60), trials(6, 50), trials(36, 300)).unwrap();
        assert!(kept_off.excess > 3.0 && (kept_off.expected - 1.0).abs() < 0.3, "{kept_off:?}");
        let always = share(trials(7, 10), trials(42, 60), trials(6, 50), trials(36, 300)).unwrap();
        assert!(always.excess < 0.7, "{always:?}");
        let newcomer = share(trials(2, 3), trials(0, 0), trials(6, 50), trials(36, 300)).unwrap();
        assert!(newcomer.excess < kept_off.excess);
        assert_eq!(share(trials(0, 0), trials(1, 9), trials(1, 9), trials(1, 9)), None);
        assert_eq!(share(trials(2, 3), trials(0, 0), trials(0, 0), trials(0, 0)), None);
    }

    proptest! {
        /// More events never surprise less, and no number of watched hours without events surprises.
        #[test]
        fn surprise_grows_with_events(events in 0_u32..40, hours in 0.1..20.0_f64, past in 0_u32..40, past_hours in 0.0..60.0_f64, others in 0_u32..90) {
            let of = |events| rate(watched(events, hours), watched(past, past_hours), watched(others / 4, 20.0), watched(others, 80.0));
            prop_assert!(of(events) <= of(events + 1) + 1e-9);
            prop_assert!(of(0) <= 1e-9);
        }

        #[test]
        fn surprise_grows_with_hits(of in 1_u32..40, hits in any::<prop::sample::Index>(), past in 0_u32..40, others in 0_u32..90) {
            let hits = u32::try_from(hits.index(of as usize)).unwrap();
            let share = |hits| {
                of_share(four(Trials { hits, of }, Trials { hits: past, of: 40 }, Trials { hits: others / 3, of: 30 }, Trials { hits: others, of: 90 }))
                    .unwrap()
                    .excess
            };
            prop_assert!(share(hits) <= share(hits + 1) + 1e-9);
            prop_assert!(share(0) <= 1e-9);
        }
    }
}
