//! Slips of people that make a right weight wrong in a way that can be told.

use super::answer::Expected;
use crate::terms::{Mass, RecordId};
use serde::{Deserialize, Serialize};

/// What may have happened to a reading that does not fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "slip", rename_all = "snake_case")]
pub enum Slip {
    /// A thousand times too much: grams entered as kilograms.
    GramsAsKilograms,
    /// A thousand times too little: kilograms entered as grams.
    KilogramsAsGrams,
    /// 2.2 times too much: pounds entered as kilograms.
    PoundsAsKilograms,
    /// 2.2 times too little: kilograms entered as pounds.
    KilogramsAsPounds,
    /// 28 times too little: ounces entered as grams.
    OuncesAsGrams,
    /// 28 times too much: grams entered as ounces.
    GramsAsOunces,
    /// Ten times too much: the decimal point one place too far right.
    PointTooFarRight,
    /// Ten times too little: the decimal point one place too far left.
    PointTooFarLeft,
    /// Two neighbouring digits exchanged.
    DigitsExchanged {
        /// What it would be with them the other way round.
        meant: Mass,
    },
    /// Two animals taken for each other.
    AnimalsExchanged {
        /// The other.
        other: RecordId,
    },
    /// Several are heavier by the same mass.
    CrateNotTared {
        /// What the crate weighs.
        crate_mass: Mass,
    },
}

/// 1 lb in kg and 1 oz in g, exactly (international yard and pound agreement of 1959; 16 oz are 1 lb).
const POUND: f64 = 0.453_592_37;
const OUNCE: f64 = 28.349_523_125;

/// By how much each slip of unit or point multiplies the true mass.
const FACTORS: [(Slip, f64); 8] = [
    (Slip::GramsAsKilograms, 1000.0),
    (Slip::KilogramsAsGrams, 0.001),
    (Slip::PoundsAsKilograms, 1.0 / POUND),
    (Slip::KilogramsAsPounds, POUND),
    (Slip::OuncesAsGrams, 1.0 / OUNCE),
    (Slip::GramsAsOunces, OUNCE),
    (Slip::PointTooFarRight, 10.0),
    (Slip::PointTooFarLeft, 0.1),
];

/// What fits an animal.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fits {
    /// ln grams expected on that scale, and the standard deviation of a reading about that.
    pub(super) log: f64,
    pub(super) spread: f64,
    /// Least and most that fits.
    pub(super) low: Mass,
    pub(super) high: Mass,
}

impl Fits {
    pub(super) fn new(log: f64, spread: f64) -> Self {
        let reach = super::doubt::reach(spread);
        let [low, high] = [log - reach, log + reach].map(|log| Mass::from_grams(log.exp()));
        Self { log, spread, low, high }
    }

    pub(super) fn has(&self, mass: Mass) -> bool {
        self.low <= mass && mass <= self.high
    }

    fn off(&self, mass: Mass) -> f64 {
        (mass.grams().ln() - self.log).abs()
    }
}

impl Slip {
    /// Whoever made it once makes it again with the next reading: of two others with digits exchanged, which is chance
    /// as often as not, the same is not to be feared.
    pub(super) const fn is_made_again(self) -> bool {
        !matches!(self, Self::DigitsExchanged { .. })
    }

    /// The slip of unit, point or digits that explains a mass best, if one does.
    pub(super) fn of(fits: &Fits, mass: Mass) -> Option<Self> {
        let units = FACTORS
            .into_iter()
            .map(|(slip, factor)| (slip, Mass::from_grams(mass.grams() / factor)))
            .filter(|(_, undone)| fits.has(*undone))
            .min_by(|(_, a), (_, b)| fits.off(*a).total_cmp(&fits.off(*b)));
        units.map(|(slip, _)| slip).or_else(|| {
            // Some exchange of digits comes near by chance, so it must come nearer than a unit.
            exchanged(mass)
                .filter(|meant| fits.off(*meant) <= 2.0 * fits.spread)
                .min_by(|a, b| fits.off(*a).total_cmp(&fits.off(*b)))
                .map(|meant| Self::DigitsExchanged { meant })
        })
    }
}

/// A mass with each two neighbouring digits exchanged.
fn exchanged(mass: Mass) -> impl Iterator<Item = Mass> {
    let digits: Vec<i64> =
        std::iter::successors(Some(mass.mg()), |rest| Some(rest / 10).filter(|rest| *rest > 0))
            .map(|rest| rest % 10)
            .collect();
    let places = digits.len().saturating_sub(1);
    (0..places).filter_map(move |place| {
        let (low, high) = (digits[place], digits[place + 1]);
        let unit = 10_i64.checked_pow(u32::try_from(place).ok()?)?;
        let changed = mass.mg() + (low - high) * 9 * unit;
        (low != high && changed > 0).then(|| Mass::from_mg(changed))
    })
}

/// One of a round that does not fit, or does.
#[derive(Clone, Copy, Debug)]
pub(super) struct Entered {
    pub(super) animal: RecordId,
    pub(super) mass: Mass,
    pub(super) fits: Fits,
}

/// How many times likelier an exchange of animals must be.
const EXCHANGE_ODDS: f64 = 20.0;
/// How far apart, as a part of their mean, masses of one crate may lie.
const SAME_CRATE: f64 = 0.12;

/// What explains readings that do not fit, given with what was expected of each, whether they live together or not: they
/// were entered together.
#[must_use]
pub fn likely(entered: &[(RecordId, Mass, Expected)]) -> Vec<Option<Slip>> {
    let fits = |expected: &Expected| Fits {
        log: expected.mass.grams().ln(),
        spread: expected.spread,
        low: expected.low,
        high: expected.high,
    };
    let entered = entered.iter().map(|(animal, mass, expected)| Entered {
        animal: *animal,
        mass: *mass,
        fits: fits(expected),
    });
    of_round(&entered.collect::<Vec<_>>())
}

/// What explains the readings of a round that do not fit, by their places in it.
pub(super) fn of_round(round: &[Entered]) -> Vec<Option<Slip>> {
    let crate_mass = not_tared(round);
    (0..round.len())
        .map(|place| {
            let one = &round[place];
            if one.fits.has(one.mass) {
                return None;
            }
            let swapped = swapped(round, place).map(|other| Slip::AnimalsExchanged { other });
            let own = Slip::of(&one.fits, one.mass);
            let tare = crate_mass
                .filter(|tare| one.fits.has(Mass::from_mg(one.mass.mg() - tare.mg())))
                .map(|crate_mass| Slip::CrateNotTared { crate_mass });
            tare.or(swapped).or(own)
        })
        .collect()
}

/// The one of a round that an animal was taken for, if that makes both fit and is far likelier.
fn swapped(round: &[Entered], place: usize) -> Option<RecordId> {
    let one = &round[place];
    let cost = |fits: &Fits, mass: Mass| 0.5 * (fits.off(mass) / fits.spread).min(8.0).powi(2);
    round
        .iter()
        .enumerate()
        .filter(|(other, _)| *other != place)
        .map(|(_, other)| other)
        .filter(|other| other.animal != one.animal && one.fits.has(other.mass) && other.fits.has(one.mass))
        .map(|other| {
            let entered = cost(&one.fits, one.mass) + cost(&other.fits, other.mass);
            (other.animal, entered - cost(&one.fits, other.mass) - cost(&other.fits, one.mass))
        })
        .filter(|(_, odds)| *odds >= EXCHANGE_ODDS.ln())
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(animal, _)| animal)
}

/// What several of a round are heavier by, where that is the same mass.
fn not_tared(round: &[Entered]) -> Option<Mass> {
    let more: Vec<f64> = round
        .iter()
        .filter(|one| one.mass > one.fits.high)
        .map(|one| one.mass.grams() - one.fits.log.exp())
        .collect();
    // Two animals could be heavier by the same mass by chance; three hardly.
    if more.len() < 3 || 2 * more.len() < round.len() {
        return None;
    }
    let mean = more.iter().sum::<f64>() / crate::stats::count(more.len());
    more.iter().all(|one| (one - mean).abs() <= SAME_CRATE * mean).then(|| Mass::from_grams(mean))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fits(grams: f64) -> Fits {
        Fits::new(grams.ln(), 0.02)
    }

    fn entered(animal: u128, expected: f64, shown: f64) -> Entered {
        Entered { animal: RecordId(animal), mass: Mass::from_grams(shown), fits: fits(expected) }
    }

    #[test]
    fn slips_by_name() {
        for (shown, slip) in [
            (812_000.0, Some(Slip::GramsAsKilograms)),
            (0.812, Some(Slip::KilogramsAsGrams)),
            (1790.1, Some(Slip::PoundsAsKilograms)),
            (368.3, Some(Slip::KilogramsAsPounds)),
            (28.6, Some(Slip::OuncesAsGrams)),
            (23_020.0, Some(Slip::GramsAsOunces)),
            (8_120.0, Some(Slip::PointTooFarRight)),
            (81.2, Some(Slip::PointTooFarLeft)),
            (182.0, Some(Slip::DigitsExchanged { meant: Mass::from_grams(812.0) })),
            (600.0, None),
        ] {
            assert_eq!(Slip::of(&fits(812.0), Mass::from_grams(shown)), slip, "{shown} g");
        }
    }

    #[test]
    fn zeros_behind_the_number_stay_behind_it() {
        let meant: Vec<Mass> = exchanged(Mass::from_grams(580.0)).collect();
        assert_eq!(meant, [Mass::from_grams(508.0), Mass::from_grams(850.0)]);
    }

    #[test]
    fn two_taken_for_each_other() {
        let round = [entered(1, 500.0, 700.0), entered(2, 700.0, 500.0), entered(3, 600.0, 601.0)];
        let found = of_round(&round);
        assert_eq!(found[0], Some(Slip::AnimalsExchanged { other: RecordId(2) }));
        assert_eq!(found[1], Some(Slip::AnimalsExchanged { other: RecordId(1) }));
        assert_eq!(found[2], None);
    }

    #[test]
    fn a_crate_that_was_not_tared() {
        let round = [entered(1, 500.0, 801.0), entered(2, 700.0, 1003.0), entered(3, 600.0, 897.0)];
        for found in of_round(&round) {
            assert!(
                matches!(found, Some(Slip::CrateNotTared { crate_mass }) if (crate_mass.grams() - 300.3).abs() < 1.0),
                "{found:?}"
            );
        }
        // All a fifth heavier is no crate.
        let round = [entered(1, 500.0, 600.0), entered(2, 1000.0, 1200.0), entered(3, 2000.0, 2400.0)];
        assert!(of_round(&round).iter().all(|found| !matches!(found, Some(Slip::CrateNotTared { .. }))));
    }
}
