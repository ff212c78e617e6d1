//! Exact intervals and tests for counts: no normal approximation, because the counts here are small.

use statrs::distribution::{Beta, Binomial, ContinuousCDF, DiscreteCDF, Gamma};

/// A two-sided interval.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Range {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Range {
    /// Whether `value` lies inside, ends included.
    #[must_use]
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}

/// Interval for the mean of a Poisson count of which `events` were seen: quantiles of the gamma
/// distribution (Garwood 1936, Biometrika 28:437). `confidence` lies between 0 and 1. Divide by the
/// time watched for a rate.
#[must_use]
pub fn poisson_mean(events: u32, confidence: f64) -> Range {
    let tail = (1.0 - confidence) / 2.0;
    let quantile = |shape: f64, p: f64| Gamma::new(shape, 1.0).map_or(f64::NAN, |gamma| gamma.inverse_cdf(p));
    let seen = f64::from(events);
    Range {
        low: if events == 0 { 0.0 } else { quantile(seen, tail) },
        high: quantile(seen + 1.0, 1.0 - tail),
    }
}

/// Interval for a share of which `hits` in `trials` were seen: quantiles of the beta distribution
/// (Clopper & Pearson 1934, Biometrika 26:404). The whole of [0, 1] without trials. `hits` above
/// `trials` count as all of them.
#[must_use]
pub fn share(hits: u32, trials: u32, confidence: f64) -> Range {
    let tail = (1.0 - confidence) / 2.0;
    let hits = hits.min(trials);
    let quantile = |a: f64, b: f64, p: f64| Beta::new(a, b).map_or(f64::NAN, |beta| beta.inverse_cdf(p));
    let (hit, missed) = (f64::from(hits), f64::from(trials - hits));
    Range {
        low: if hits == 0 { 0.0 } else { quantile(hit, missed + 1.0, tail) },
        high: if hits == trials { 1.0 } else { quantile(hit + 1.0, missed, 1.0 - tail) },
    }
}

/// Probability of at least `hits` in `trials` when each hits with probability `chance`.
#[must_use]
pub fn at_least(hits: u32, trials: u32, chance: f64) -> f64 {
    if hits == 0 {
        return 1.0;
    }
    Binomial::new(chance, u64::from(trials)).map_or(f64::NAN, |law| law.sf(u64::from(hits) - 1))
}

/// Two-sided sign test: how likely so uneven a split of `up` and `down` is when either is as likely.
/// Twice the smaller tail (Conover 1999, Practical Nonparametric Statistics, §3.4), at most 1.
#[must_use]
pub fn sign_test(up: u32, down: u32) -> f64 {
    (2.0 * at_least(up.max(down), up + down, 0.5)).min(1.0)
}

/// Probability that a Poisson count over `hours` is `events` or more, given what was seen before:
/// `events_before` over `hours_before` at the same rate. Conditional on the sum the count is binomial
/// (Przyborowski & Wilenski 1940, Biometrika 31:313). `None` where nothing was watched before or now.
#[must_use]
pub fn rate_rose(events: u32, hours: f64, events_before: u32, hours_before: f64) -> Option<f64> {
    if hours <= 0.0 || hours_before <= 0.0 {
        return None;
    }
    Some(at_least(events, events + events_before, hours / (hours + hours_before)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn without_events_the_upper_end_is_minus_the_log_of_the_tail() {
        let range = poisson_mean(0, 0.95);
        assert!(range.low.abs() < 1e-12 && (range.high + 0.025_f64.ln()).abs() < 1e-9);
        let share = share(0, 10, 0.95);
        assert!((share.high - (1.0 - 0.025_f64.powf(0.1))).abs() < 1e-9);
    }

    #[test]
    fn without_trials_nothing_is_known() {
        assert_eq!(share(0, 0, 0.95), Range { low: 0.0, high: 1.0 });
        assert_eq!(rate_rose(3, 0.0, 1, 5.0), None);
        assert!((sign_test(0, 0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_rate_that_did_not_change_is_no_news() {
        let p = rate_rose(4, 10.0, 40, 100.0).unwrap();
        assert!(p > 0.4, "{p}");
        let p = rate_rose(12, 10.0, 40, 100.0).unwrap();
        assert!(p < 0.01, "{p}");
    }

    proptest! {
        /// What makes an interval exact: at its ends the tails have the probability they should.
        #[test]
        fn tails_at_the_ends_are_as_named(hits in 1_u32..60, missed in 1_u32..60) {
            let trials = hits + missed;
            let range = share(hits, trials, 0.9);
            prop_assert!((at_least(hits, trials, range.low) - 0.05).abs() < 1e-7);
            prop_assert!((1.0 - at_least(hits + 1, trials, range.high) - 0.05).abs() < 1e-7);
        }
    }
}
