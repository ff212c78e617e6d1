//! One reading against the animal's own history.

use super::forecast::Forecast;
use super::settings::Settings;
use crate::reading::Reading;
use crate::terms::{Instant, Mass};
use serde::{Deserialize, Serialize};

/// What a reading looks like.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "verdict", rename_all = "snake_case")]
pub enum Verdict {
    /// As expected.
    Fits,
    /// Far enough off to ask for a second weighing.
    AskSecond {
        /// What the animal should weigh.
        expected: Mass,
        /// Least that would have fitted.
        low: Mass,
        /// Most that would have fitted.
        high: Mass,
        /// A slip that would explain it: with it undone, the reading fits.
        likely: Option<Slip>,
    },
    /// Fewer than three earlier readings within reach, and none so lately that it would tell an absurd one.
    TooLittleHistory,
}

/// A slip of unit or point that makes a right reading wrong by a known factor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Slip {
    /// A thousand times too much: grams entered as kilograms.
    GramsAsKilograms,
    /// A thousand times too little: kilograms entered as grams.
    KilogramsAsGrams,
    /// 2.2 times too much: pounds entered as kilograms.
    PoundsAsKilograms,
    /// 2.2 times too little: kilograms entered as pounds.
    KilogramsAsPounds,
    /// Ten times too much: the decimal point one place too far right.
    PointTooFarRight,
    /// Ten times too little: the decimal point one place too far left.
    PointTooFarLeft,
}

/// 1 lb in kg, exactly (international yard and pound agreement of 1959).
const POUND: f64 = 0.453_592_37;

impl Slip {
    const ALL: [Self; 6] = [
        Self::GramsAsKilograms,
        Self::KilogramsAsGrams,
        Self::PoundsAsKilograms,
        Self::KilogramsAsPounds,
        Self::PointTooFarRight,
        Self::PointTooFarLeft,
    ];

    /// By how much the slip multiplied the true mass.
    #[must_use]
    pub fn factor(self) -> f64 {
        match self {
            Self::GramsAsKilograms => 1000.0,
            Self::KilogramsAsGrams => 0.001,
            Self::PoundsAsKilograms => 1.0 / POUND,
            Self::KilogramsAsPounds => POUND,
            Self::PointTooFarRight => 10.0,
            Self::PointTooFarLeft => 0.1,
        }
    }
}

/// Judges a reading of `mass` at `at` by the animal's readings before it, in any order. A mass of nothing
/// or less never fits.
#[must_use]
pub fn judge(history: &[Reading], mass: Mass, at: Instant, settings: &Settings) -> Verdict {
    match Forecast::of(history, at, settings) {
        Some(forecast) => verdict(&forecast, mass, 0.0),
        None => by_latest(history, mass, at, settings),
    }
}

/// Judges by the latest reading alone: only what is absurd is asked about.
pub(super) fn by_latest(history: &[Reading], mass: Mass, at: Instant, settings: &Settings) -> Verdict {
    Forecast::of_latest(history, at, settings)
        .map_or(Verdict::TooLittleHistory, |forecast| verdict(&forecast, mass, 0.0))
}

/// Judges with the whole scale off by `drift` in ln mass.
pub(super) fn verdict(forecast: &Forecast, mass: Mass, drift: f64) -> Verdict {
    let log = mass.grams().ln() - drift;
    if mass.mg() > 0 && forecast.fits(log) {
        return Verdict::Fits;
    }
    let likely = Slip::ALL
        .into_iter()
        .map(|slip| (slip, log - slip.factor().ln()))
        .filter(|(_, undone)| forecast.fits(*undone))
        .min_by(|(_, a), (_, b)| forecast.z(*a).abs().total_cmp(&forecast.z(*b).abs()))
        .map(|(slip, _)| slip);
    Verdict::AskSecond {
        expected: from_log(forecast.log),
        low: from_log(forecast.log - forecast.half_width),
        high: from_log(forecast.log + forecast.half_width),
        likely,
    }
}

fn from_log(log: f64) -> Mass {
    Mass::from_grams(log.exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms::RecordId;
    use chrono::{TimeDelta, TimeZone, Utc};
    use proptest::prelude::*;

    fn start() -> Instant {
        Utc.with_ymd_and_hms(2026, 1, 5, 8, 0, 0).unwrap()
    }

    fn weekly(grams: &[f64]) -> Vec<Reading> {
        (0..)
            .zip(grams)
            .map(|(week, grams)| Reading {
                record: RecordId(0),
                at: start() + TimeDelta::weeks(week),
                mass: Some(Mass::from_grams(*grams)),
                scale: None,
                doubtful: false,
            })
            .collect()
    }

    fn at(weeks: i64) -> Instant {
        start() + TimeDelta::weeks(weeks)
    }

    fn slip(history: &[f64], grams: f64) -> Option<Slip> {
        let mass = Mass::from_grams(grams);
        match judge(&weekly(history), mass, at(history.len() as i64), &Settings::default()) {
            Verdict::AskSecond { likely, .. } => likely,
            other => panic!("{other:?}"),
        }
    }

    const STEADY: [f64; 6] = [812.0, 805.0, 820.0, 810.0, 808.0, 815.0];

    #[test]
    fn slips_are_recognised() {
        assert_eq!(slip(&STEADY, 815_000.0), Some(Slip::GramsAsKilograms));
        assert_eq!(slip(&STEADY, 0.815), Some(Slip::KilogramsAsGrams));
        assert_eq!(slip(&STEADY, 81.2), Some(Slip::PointTooFarLeft));
        assert_eq!(slip(&STEADY, 8_120.0), Some(Slip::PointTooFarRight));
        assert_eq!(slip(&STEADY, 810.0 * 2.204_62), Some(Slip::PoundsAsKilograms));
        assert_eq!(slip(&STEADY, 810.0 * 0.453_59), Some(Slip::KilogramsAsPounds));
        assert_eq!(slip(&STEADY, 600.0), None);
    }

    #[test]
    fn a_growing_animal_is_expected_to_grow() {
        let young = [100.0, 112.0, 126.0, 141.0, 158.0, 177.0];
        let fits = |grams: f64| {
            let mass = Mass::from_grams(grams);
            judge(&weekly(&young), mass, at(6), &Settings::default()) == Verdict::Fits
        };
        assert!(fits(198.0) && !fits(150.0) && !fits(245.0));
    }

    #[test]
    fn too_little_is_said_and_not_guessed() {
        let judged = |weeks| judge(&weekly(&STEADY[..3]), Mass::from_mg(1), at(weeks), &Settings::default());
        assert!(matches!(judged(3), Verdict::AskSecond { .. }));
        assert_eq!(judged(60), Verdict::TooLittleHistory);
        let two = |weeks| judge(&weekly(&STEADY[..2]), Mass::from_mg(1), at(weeks), &Settings::default());
        assert_eq!(two(4), Verdict::TooLittleHistory);
        assert!(matches!(two(3), Verdict::AskSecond { .. }));
    }

    #[test]
    fn one_reading_tells_the_absurd_and_nothing_finer() {
        assert_eq!(slip(&STEADY[..1], 8_120.0), Some(Slip::PointTooFarRight));
        assert_eq!(slip(&STEADY[..1], 0.812), Some(Slip::KilogramsAsGrams));
        for grams in [300.0, 600.0, 1_600.0, 3_000.0] {
            let verdict = judge(&weekly(&STEADY[..1]), Mass::from_grams(grams), at(1), &Settings::default());
            assert_eq!(verdict, Verdict::Fits, "{grams} g");
        }
    }

    #[test]
    fn nothing_on_the_scale_never_fits() {
        let verdict = judge(&weekly(&STEADY), Mass::from_mg(0), at(6), &Settings::default());
        assert!(matches!(verdict, Verdict::AskSecond { likely: None, .. }));
    }

    #[test]
    fn one_bad_reading_in_the_past_does_not_matter() {
        let history = [812.0, 805.0, 8100.0, 810.0, 808.0, 815.0];
        let mass = Mass::from_mg(811_000);
        assert_eq!(judge(&weekly(&history), mass, at(6), &Settings::default()), Verdict::Fits);
    }

    proptest! {
        /// Units do not matter: an elephant and a shrew are judged alike.
        #[test]
        fn only_proportions_count(grams in proptest::collection::vec(80.0..120.0f64, 4..9), new in 50.0..200.0f64, scale in 1.0..1e4f64) {
            let big: Vec<f64> = grams.iter().map(|g| g * scale).collect();
            let judged = |history: &[f64], grams: f64| matches!(
                judge(&weekly(history), Mass::from_grams(grams), at(9), &Settings::default()),
                Verdict::Fits
            );
            prop_assert_eq!(judged(&grams, new), judged(&big, new * scale));
        }

        #[test]
        fn what_is_expected_lies_inside_what_fits(grams in proptest::collection::vec(80.0..120.0f64, 3..12)) {
            let verdict = judge(&weekly(&grams), Mass::from_mg(1), at(12), &Settings::default());
            let Verdict::AskSecond { expected, low, high, .. } = verdict else { panic!("{verdict:?}") };
            prop_assert!(low < expected && expected < high);
            prop_assert_eq!(judge(&weekly(&grams), expected, at(12), &Settings::default()), Verdict::Fits);
        }
    }
}
