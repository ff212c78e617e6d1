//! Energy on offer against energy needed, beside the condition of the body.
//!
//! The need is an estimate from mass alone and easily off by a third for one animal: the body says whether
//! the ration fits, the sum only where to look. Weigh a change of ration by the trend that follows it.

use crate::terms::Mass;
use serde::{Deserialize, Serialize};

/// kcal a day and kg^0.75 at rest for placental mammals (Kleiber; printed as such in Small Animal Clinical
/// Nutrition, 5th ed., table 5-2). Other bodies burn at other rates, which must come from a source of the
/// caller's: none that we hold is solid enough to be a default.
pub const MAMMAL_AT_REST: f64 = 70.0;

/// Energy at rest, in kcal a day: `factor` · kg^0.75.
#[must_use]
pub fn at_rest(mass: Mass, factor: f64) -> f64 {
    factor * mass.kg().powf(0.75)
}

/// How well a number is founded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Footing {
    /// Read in the source named.
    Read,
    /// Told by notes that name a source, not by the source.
    Secondhand,
}

/// What an animal needs, as multiples of its energy at rest.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Need {
    /// For whom.
    pub whom: &'static str,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// How well it is founded.
    pub footing: Footing,
}

/// Multiples that are in print, all of pets: for others they are a place to begin, no more. Small Animal
/// Clinical Nutrition, 5th ed., table 5-2, for those that were read there.
pub const NEEDS: [Need; 5] = [
    Need { whom: "bitch with one pup", low: 3.0, high: 3.0, footing: Footing::Read },
    Need { whom: "bitch with two pups", low: 3.5, high: 3.5, footing: Footing::Read },
    Need { whom: "bitch with three or four pups", low: 4.0, high: 4.0, footing: Footing::Read },
    Need { whom: "neutered dog", low: 1.6, high: 1.6, footing: Footing::Secondhand },
    Need { whom: "cat at maintenance", low: 1.2, high: 1.4, footing: Footing::Secondhand },
];

/// A body condition score, always with the scale it was given on: 5 of 9 is right, 5 of 5 very fat.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Condition {
    /// The score.
    pub score: f64,
    /// Scores that are right, by the chart that was used.
    pub right: (f64, f64),
    /// Lowest and highest score of the scale.
    pub scale: (f64, f64),
}

/// What a body condition score says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Body {
    /// Below what is right.
    Thin,
    /// Right.
    Right,
    /// Above what is right.
    Fat,
}

/// Why a condition or a ration cannot be judged.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum Refused {
    /// The score lies off its scale, or what is right does.
    #[error("{0} is not a score of a scale from {1} to {2}")]
    OffScale(f64, f64, f64),
    /// A mass, factor, multiple or ration that cannot be.
    #[error("mass, factor and need must be above nothing, the ration not below, and low no more than high")]
    Impossible,
}

impl Condition {
    /// Thin, right or fat.
    ///
    /// # Errors
    /// [`Refused::OffScale`].
    pub fn body(&self) -> Result<Body, Refused> {
        let (lowest, highest) = self.scale;
        let (low, high) = self.right;
        for score in [self.score, low, high] {
            if !(lowest..=highest).contains(&score) {
                return Err(Refused::OffScale(score, lowest, highest));
            }
        }
        Ok(if self.score < low {
            Body::Thin
        } else if self.score > high {
            Body::Fat
        } else {
            Body::Right
        })
    }
}

/// The diet on record against the need.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ration {
    /// Need a day, in kcal: lower end.
    pub need_low: f64,
    /// Upper end.
    pub need_high: f64,
    /// On offer a day, in kcal.
    pub offered: f64,
    /// Short, fits or over.
    pub verdict: Verdict,
    /// The body says the same: thin on a short ration, fat on one that is over. `None` without a score, or
    /// where the ration fits.
    pub borne_out: Option<bool>,
}

/// How a ration compares with the need.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// So many % below the lower end of the need.
    Short(f64),
    /// Within it.
    Fits,
    /// So many % above the upper end.
    Over(f64),
}

/// What an animal of this mass needs, in kcal a day, by energy at rest (`factor`, kcal a day and kg^0.75) and
/// multiples of it from `low` to `high`.
///
/// # Errors
/// [`Refused::Impossible`] where a number cannot be.
pub fn need(mass: Mass, factor: f64, (low, high): (f64, f64)) -> Result<(f64, f64), Refused> {
    if !(mass.mg() > 0 && factor > 0.0 && 0.0 < low && low <= high) {
        return Err(Refused::Impossible);
    }
    let rest = at_rest(mass, factor);
    Ok((low * rest, high * rest))
}

/// How the energy on offer compares with a need, both in kcal a day. Animals that share a ration have the sum
/// of their needs.
#[must_use]
pub fn compare((low, high): (f64, f64), offered: f64) -> Verdict {
    if offered < low {
        Verdict::Short(100.0 * (1.0 - offered / low))
    } else if offered > high {
        Verdict::Over(100.0 * (offered / high - 1.0))
    } else {
        Verdict::Fits
    }
}

/// The same where the need of some who share is not known: that the ration is short for the others is short for
/// all, and nothing else can be told.
#[must_use]
pub fn compare_known(known: (f64, f64), offered: f64) -> Option<Verdict> {
    Some(compare(known, offered)).filter(|verdict| matches!(verdict, Verdict::Short(_)))
}

/// Judges the energy on offer, in kcal a day, for one animal; the other numbers as in [`need`].
///
/// # Errors
/// [`Refused`] where a number cannot be.
pub fn judge(
    mass: Mass,
    factor: f64,
    multiples: (f64, f64),
    offered: f64,
    condition: Option<Condition>,
) -> Result<Ration, Refused> {
    let needed = need(mass, factor, multiples)?;
    if offered.is_nan() || offered < 0.0 {
        return Err(Refused::Impossible);
    }
    let body = condition.map(|condition| condition.body()).transpose()?;
    let verdict = compare(needed, offered);
    let expected = match verdict {
        Verdict::Short(_) => Some(Body::Thin),
        Verdict::Fits => None,
        Verdict::Over(_) => Some(Body::Fat),
    };
    let borne_out = body.zip(expected).map(|(body, expected)| body == expected);
    Ok(Ration { need_low: needed.0, need_high: needed.1, offered, verdict, borne_out })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_nine(score: f64) -> Condition {
        Condition { score, right: (4.0, 5.0), scale: (1.0, 9.0) }
    }

    #[test]
    fn short_fits_and_over() {
        let ten = Mass::from_grams(10_000.0);
        let judged = |offered, score| judge(ten, MAMMAL_AT_REST, (1.2, 1.6), offered, Some(of_nine(score)));
        let short = judged(400.0, 3.0).unwrap();
        assert!((short.need_low - 472.37).abs() < 0.01 && (short.need_high - 629.82).abs() < 0.01);
        assert!(matches!(short.verdict, Verdict::Short(percent) if (percent - 15.32).abs() < 0.01));
        assert_eq!(short.borne_out, Some(true));
        assert_eq!(judged(400.0, 7.0).unwrap().borne_out, Some(false));
        let fits = judged(500.0, 3.0).unwrap();
        assert_eq!((fits.verdict, fits.borne_out), (Verdict::Fits, None));
        let over = judged(700.0, 6.0).unwrap();
        assert!(matches!(over.verdict, Verdict::Over(percent) if (percent - 11.14).abs() < 0.01));
        assert_eq!(over.borne_out, Some(true));
    }

    #[test]
    fn the_same_score_on_another_scale_is_another_body() {
        let of_five = Condition { score: 5.0, right: (3.0, 3.0), scale: (1.0, 5.0) };
        assert_eq!((of_nine(5.0).body(), of_five.body()), (Ok(Body::Right), Ok(Body::Fat)));
        assert_eq!(of_nine(0.0).body(), Err(Refused::OffScale(0.0, 1.0, 9.0)));
        let ideal_off = Condition { right: (4.0, 12.0), ..of_nine(5.0) };
        assert!(ideal_off.body().is_err());
    }

    /// Two that share are judged by the sum, and one of whom nothing is known makes it a lower bound.
    #[test]
    fn those_who_share_need_the_sum() {
        let of = |kg: f64| need(Mass::from_grams(1000.0 * kg), MAMMAL_AT_REST, (1.2, 1.6)).unwrap();
        let (one, other) = (of(10.0), of(2.0));
        let both = (one.0 + other.0, one.1 + other.1);
        // 70 · (10^0.75 + 2^0.75) = 70 · (5.62341 + 1.68179) = 511.364, times 1.2 and 1.6.
        assert!((both.0 - 613.637).abs() < 0.001 && (both.1 - 818.183).abs() < 0.001, "{both:?}");
        assert_eq!(compare(both, 700.0), Verdict::Fits);
        assert!(matches!(compare(both, 500.0), Verdict::Short(percent) if (percent - 18.519).abs() < 0.001));
        assert_eq!(compare_known(both, 500.0), Some(compare(both, 500.0)));
        assert_eq!((compare_known(both, 700.0), compare_known(both, 900.0)), (None, None));
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let kg = Mass::from_grams(1000.0);
        for (mass, factor, need, offered) in [
            (Mass::from_mg(0), 70.0, (1.0, 2.0), 80.0),
            (kg, 0.0, (1.0, 2.0), 80.0),
            (kg, 70.0, (2.0, 1.0), 80.0),
            (kg, 70.0, (1.0, 2.0), -1.0),
            (kg, f64::NAN, (1.0, 2.0), 80.0),
        ] {
            assert_eq!(judge(mass, factor, need, offered, None), Err(Refused::Impossible));
        }
    }
}
