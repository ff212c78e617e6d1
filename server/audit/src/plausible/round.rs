//! A whole round at once: identities exchanged, and a scale that is off for every animal.

use super::forecast::Forecast;
use super::judge::{Verdict, by_latest, verdict};
use super::settings::Settings;
use crate::reading::Reading;
use crate::stats::{count, median_mad};
use crate::terms::{Instant, Mass};
use serde::{Deserialize, Serialize};

/// One animal of a round.
#[derive(Clone, Copy, Debug)]
pub struct Weighed<'a> {
    /// Its readings before, in any order.
    pub history: &'a [Reading],
    /// When it was weighed.
    pub at: Instant,
    /// What was entered.
    pub mass: Mass,
}

/// What a round looks like. Animals are named by their place in it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Round {
    /// Each reading by itself, in the order given, with the drift of the scale taken out.
    pub each: Vec<Verdict>,
    /// Pairs that were likely taken for each other, the surest first. No animal is in two of them.
    pub exchanges: Vec<Exchange>,
    /// A scale that is off for all of them.
    pub drift: Option<Drift>,
}

/// Two animals that were likely taken for each other: each would weigh what it should, if exchanged.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Exchange {
    /// Place of the one.
    pub one: usize,
    /// Place of the other.
    pub other: usize,
    /// ln of how many times more likely the two readings are the other way round.
    pub log_odds: f64,
}

/// All animals of a round are off by much the same factor: the scale, its tare, or something that
/// happened to all of them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// Median deviation from what was expected, in %.
    pub percent: f64,
    /// Standard error of that, in %.
    pub standard_error_percent: f64,
    /// How many animals it rests on.
    pub animals: usize,
}

/// Deviations beyond this many spreads count no further against a reading when two are compared, so
/// that a wild reading does not make every exchange look good.
const MOST_SPREADS: f64 = 8.0;

/// Judges the readings of one round on one scale.
#[must_use]
pub fn judge_round(round: &[Weighed<'_>], settings: &Settings) -> Round {
    let forecasts: Vec<Option<Forecast>> =
        round.iter().map(|weighed| Forecast::of(weighed.history, weighed.at, settings)).collect();
    let seen: Vec<(usize, Forecast, f64)> = round
        .iter()
        .zip(&forecasts)
        .enumerate()
        .filter(|(_, (weighed, _))| weighed.mass.mg() > 0)
        .filter_map(|(place, (weighed, forecast))| Some((place, (*forecast)?, weighed.mass.grams().ln())))
        .collect();
    let drift = drift(&seen, settings);
    let shift = drift.map_or(0.0, |drift| (drift.percent / 100.0).ln_1p());
    let each = round
        .iter()
        .zip(&forecasts)
        .map(|(weighed, forecast)| match forecast {
            Some(forecast) => verdict(forecast, weighed.mass, shift),
            None => by_latest(weighed.history, weighed.mass, weighed.at, settings),
        })
        .collect();
    Round { each, exchanges: exchanges(&seen, shift, settings), drift }
}

fn exchanges(seen: &[(usize, Forecast, f64)], shift: f64, settings: &Settings) -> Vec<Exchange> {
    let cost = |forecast: &Forecast, log: f64| {
        0.5 * forecast.z(log - shift).clamp(-MOST_SPREADS, MOST_SPREADS).powi(2) + forecast.spread.ln()
    };
    let mut likely: Vec<Exchange> = Vec::new();
    for (one, first, first_log) in seen.iter().filter(|(_, forecast, log)| !forecast.fits(log - shift)) {
        for (other, second, second_log) in seen.iter().filter(|(other, ..)| other != one) {
            if !first.fits(second_log - shift) || !second.fits(first_log - shift) {
                continue;
            }
            let as_entered = cost(first, *first_log) + cost(second, *second_log);
            let exchanged = cost(first, *second_log) + cost(second, *first_log);
            let log_odds = as_entered - exchanged;
            if log_odds >= settings.exchange_odds.ln() {
                likely.push(Exchange { one: *one.min(other), other: *one.max(other), log_odds });
            }
        }
    }
    likely.sort_by(|a, b| b.log_odds.total_cmp(&a.log_odds).then((a.one, a.other).cmp(&(b.one, b.other))));
    let mut taken = Vec::new();
    likely.retain(|exchange| {
        let free = !taken.contains(&exchange.one) && !taken.contains(&exchange.other);
        if free {
            taken.extend([exchange.one, exchange.other]);
        }
        free
    });
    likely
}

fn drift(seen: &[(usize, Forecast, f64)], settings: &Settings) -> Option<Drift> {
    if seen.len() < settings.drift_animals {
        return None;
    }
    let mut off: Vec<f64> = seen.iter().map(|(_, forecast, log)| log - forecast.log).collect();
    let middle = median_mad::median(&mut off)?;
    let one_side = off.iter().filter(|off| off.signum() == middle.signum()).count();
    let spread = median_mad::mad(&mut off, middle)? * median_mad::NORMAL_CONSISTENCY;
    // What each forecast is unsure of by itself; a chance agreement of a few must not look exact.
    let usual = seen.iter().map(|(_, forecast, _)| forecast.spread).sum::<f64>() / count(seen.len());
    let standard_error = 1.2533 * spread.max(usual) / count(seen.len()).sqrt();
    let large = middle.abs() >= (settings.drift_percent / 100.0).ln_1p();
    let sure = middle.abs() >= 3.0 * standard_error;
    let shared = 5 * one_side >= 4 * seen.len();
    (large && sure && shared).then(|| Drift {
        percent: 100.0 * middle.exp_m1(),
        standard_error_percent: 100.0 * standard_error,
        animals: seen.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms::RecordId;
    use chrono::{TimeDelta, TimeZone, Utc};

    const USUAL: [f64; 6] = [500.0, 640.0, 655.0, 720.0, 910.0, 1300.0];

    /// Six animals that each weigh about the same every week, and a round in the seventh week.
    fn round(masses: &[f64]) -> Round {
        let start = Utc.with_ymd_and_hms(2026, 1, 5, 8, 0, 0).unwrap();
        let histories: Vec<Vec<Reading>> = (0i64..)
            .zip(USUAL)
            .map(|(animal, grams)| {
                (0..6)
                    .map(|week| Reading {
                        record: RecordId(0),
                        at: start + TimeDelta::weeks(week),
                        mass: Some(Mass::from_grams(
                            grams * (1.0 + 0.005 * ((animal + 3 * week) % 5 - 2) as f64),
                        )),
                        scale: None,
                        doubtful: false,
                    })
                    .collect()
            })
            .collect();
        let weighed: Vec<Weighed<'_>> = histories
            .iter()
            .zip(masses)
            .map(|(history, grams)| Weighed {
                history,
                at: start + TimeDelta::weeks(6),
                mass: Mass::from_grams(*grams),
            })
            .collect();
        judge_round(&weighed, &Settings::default())
    }

    #[test]
    fn a_good_round_says_nothing() {
        let told = round(&USUAL);
        assert_eq!(told.each, [Verdict::Fits; 6]);
        assert!(told.exchanges.is_empty() && told.drift.is_none());
    }

    #[test]
    fn two_animals_taken_for_each_other() {
        let mut masses = USUAL;
        masses.swap(0, 3);
        let told = round(&masses);
        let pairs: Vec<_> = told.exchanges.iter().map(|exchange| (exchange.one, exchange.other)).collect();
        assert_eq!(pairs, [(0, 3)]);
        assert!(told.exchanges[0].log_odds > 20.0);
        assert!(told.drift.is_none());
    }

    #[test]
    fn look_alikes_of_the_same_weight_are_not_accused() {
        let mut masses = USUAL;
        masses.swap(1, 2);
        assert!(round(&masses).exchanges.is_empty());
    }

    #[test]
    fn a_wild_reading_is_no_exchange() {
        let mut masses = USUAL;
        masses[0] = 700.0;
        assert!(round(&masses).exchanges.is_empty());
    }

    #[test]
    fn a_crate_left_on_the_scale_is_seen_in_all() {
        let told = round(&USUAL.map(|grams| grams * 1.12));
        let drift = told.drift.unwrap();
        assert!((drift.percent - 12.0).abs() < 1.0, "{drift:?}");
        assert_eq!(told.each, [Verdict::Fits; 6], "the scale is to blame, not the animals");
    }

    #[test]
    fn two_fat_animals_are_no_drift() {
        let mut masses = USUAL;
        masses[4] *= 1.1;
        masses[5] *= 1.1;
        assert!(round(&masses).drift.is_none());
    }
}
