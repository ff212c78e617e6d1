//! Whether two assessors who looked at the same animals on the same occasions can be exchanged.
//!
//! Levels and grades are ordered, so they are compared by kappa with quadratic weights, which for
//! ordered categories is close to an intraclass correlation (Fleiss & Cohen 1973, Educ Psychol Meas
//! 33:613); measured values by ICC(2,1), where a constant difference between the two counts against
//! them (Shrout & Fleiss 1979, Psychol Bull 86:420). Where all scores are the same, agreement cannot
//! be told from a scale that nobody uses, and the answer is that and no number.

use crate::stats::exact;
use crate::stats::icc::{self, Band, Form, Icc};
use crate::stats::kappa::{self, CrossTable, Disagreement, Kappa};
use crate::terms::Domain;
use crate::welfare::grade::{self, Graded, Raw, Score};
use crate::welfare::protocol::{Compromise, Enhancement, Scale};
use crate::welfare::validate::{Flaw, Sound};
use serde::Serialize;
use std::collections::BTreeMap;

/// Fewer pairs than this are not judged. A choice of Holt's without a source: with fewer, the interval
/// of a kappa spans most of what it can be.
pub const FEWEST_PAIRS: usize = 10;

/// Scores of two assessors for the same things, in the same order.
#[derive(Clone, Debug, PartialEq)]
pub enum Pairs {
    /// Places on an ordered scale, counted from 0 and below `levels`.
    Ordered {
        /// How many levels there are.
        levels: usize,
        /// First assessor, second assessor.
        pairs: Vec<(usize, usize)>,
    },
    /// Measured values in one unit.
    Measured {
        /// First assessor, second assessor.
        pairs: Vec<(f64, f64)>,
    },
}

/// How far two assessors agree.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Agreement {
    /// Pairs compared.
    pub pairs: usize,
    /// Pairs in which both scored exactly the same.
    pub same: usize,
    /// Whether one of them scores higher than the other.
    pub lean: Lean,
    /// The measure of agreement, or why there is none.
    pub measure: Measure,
}

/// Pairs in which one assessor scored higher. A lean grows when an assessor drifts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Lean {
    /// Pairs in which the first scored higher.
    pub first_higher: u32,
    /// Pairs in which the second scored higher.
    pub second_higher: u32,
    /// How likely so uneven a split is if neither leans (exact sign test, two-sided).
    pub p: f64,
}

/// A measure of agreement, or why there is none.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
#[expect(clippy::large_enum_variant, reason = "a handful of them are made for an answer")]
pub enum Measure {
    /// There are fewer than [`FEWEST_PAIRS`].
    TooFew,
    /// All scores are the same, or no two things were told apart: agreement is not defined.
    NoVariation,
    /// For levels and grades.
    Kappa(Kappa),
    /// For measured values.
    Icc {
        /// ICC(2,1).
        icc: Icc,
        /// The band of its value.
        band: Band,
        /// The band that it lies in at least, by the lower end of its interval.
        at_least: Option<Band>,
        /// All six forms, in the order of [`Form::ALL`].
        forms: [Icc; 6],
    },
}

/// Judges pairs of scores. Intervals are of 95 %.
#[must_use]
pub fn judge(pairs: &Pairs) -> Agreement {
    match pairs {
        Pairs::Ordered { levels, pairs } => {
            let measure = CrossTable::of_pairs(*levels, pairs)
                .and_then(|table| kappa::cohen(&table, &Disagreement::Quadratic, 0.95))
                .map(Measure::Kappa);
            agreement(pairs, measure)
        }
        Pairs::Measured { pairs } => {
            let rows: Vec<Vec<f64>> = pairs.iter().map(|&(first, second)| vec![first, second]).collect();
            let measure = icc::all(&rows, 0.95).map(|forms| {
                let icc = forms[Form::AgreementSingle as usize];
                let at_least = icc.interval.map(|(low, _)| Band::of(low));
                Measure::Icc { icc, band: Band::of(icc.value), at_least, forms }
            });
            agreement(pairs, measure)
        }
    }
}

fn agreement<T: PartialOrd>(pairs: &[(T, T)], measure: Option<Measure>) -> Agreement {
    let tally =
        |holds: fn(&T, &T) -> bool| pairs.iter().filter(|(first, second)| holds(first, second)).count();
    let [first_higher, second_higher] =
        [tally(|a, b| a > b), tally(|a, b| a < b)].map(|n| u32::try_from(n).unwrap_or(u32::MAX));
    Agreement {
        pairs: pairs.len(),
        same: tally(|a, b| a == b),
        lean: Lean { first_higher, second_higher, p: exact::sign_test(first_higher, second_higher) },
        measure: if pairs.len() < FEWEST_PAIRS {
            Measure::TooFew
        } else {
            measure.unwrap_or(Measure::NoVariation)
        },
    }
}

/// Two assessments of the same animal on the same occasion by the same protocol.
#[derive(Clone, Debug, PartialEq)]
pub struct Twice {
    /// Scores of the first assessor.
    pub first: Vec<Score>,
    /// Scores of the second assessor.
    pub second: Vec<Score>,
}

/// Agreement on each indicator that both scored at least once.
///
/// # Errors
/// Flaws of any of the assessments, as [`grade::grade`] finds them; paths begin with `twice[i].first` or
/// `twice[i].second`.
pub fn by_indicator(protocol: &Sound, twice: &[Twice]) -> Result<BTreeMap<String, Agreement>, Vec<Flaw>> {
    graded(protocol, twice)?;
    let mut told = BTreeMap::new();
    for indicator in &protocol.indicators {
        let raw = |scores: &[Score]| {
            scores.iter().find(|score| score.indicator == indicator.code).map(|score| score.raw.clone())
        };
        let both: Vec<(Raw, Raw)> =
            twice.iter().filter_map(|twice| Some((raw(&twice.first)?, raw(&twice.second)?))).collect();
        if both.is_empty() {
            continue;
        }
        let place = |raw: &Raw| grade::place(&indicator.scale, raw);
        let pairs = match &indicator.scale {
            Scale::Levels { levels } => Pairs::Ordered {
                levels: levels.len(),
                pairs: both.iter().filter_map(|(a, b)| Some((place(a)?, place(b)?))).collect(),
            },
            Scale::Measured { .. } => Pairs::Measured {
                pairs: both.iter().filter_map(|(a, b)| Some((number(a)?, number(b)?))).collect(),
            },
        };
        told.insert(indicator.code.clone(), judge(&pairs));
    }
    Ok(told)
}

fn number(raw: &Raw) -> Option<f64> {
    match raw {
        Raw::Number(value) => Some(*value),
        Raw::Level(_) => None,
    }
}

/// Agreement on the grades of one domain.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OfDomain {
    /// On how bad it is.
    pub compromise: Agreement,
    /// On how good it is.
    pub enhancement: Agreement,
}

/// Agreement on the grades of each observed domain, over the pairs in which both graded it.
///
/// # Errors
/// As for [`by_indicator`].
pub fn by_domain(protocol: &Sound, twice: &[Twice]) -> Result<BTreeMap<Domain, OfDomain>, Vec<Flaw>> {
    let graded = graded(protocol, twice)?;
    let of = |domain| {
        let places = |of: &Graded| {
            let grade = of.domains.get(&domain)?;
            let (bad, good) = (grade.compromise.as_ref()?, grade.enhancement.as_ref()?);
            Some((bad.grade as usize, good.grade as usize))
        };
        let both: Vec<_> =
            graded.iter().filter_map(|(first, second)| Some((places(first)?, places(second)?))).collect();
        let judge = |levels, pairs| judge(&Pairs::Ordered { levels, pairs });
        OfDomain {
            compromise: judge(Compromise::E as usize + 1, both.iter().map(|(a, b)| (a.0, b.0)).collect()),
            enhancement: judge(
                Enhancement::High as usize + 1,
                both.iter().map(|(a, b)| (a.1, b.1)).collect(),
            ),
        }
    };
    Ok(Domain::OBSERVED.into_iter().map(|domain| (domain, of(domain))).collect())
}

fn graded(protocol: &Sound, twice: &[Twice]) -> Result<Vec<(Graded, Graded)>, Vec<Flaw>> {
    let (mut graded, mut flaws) = (Vec::new(), Vec::new());
    for (i, twice) in twice.iter().enumerate() {
        let mut side = |name: &str, scores: &[Score]| {
            grade::grade(protocol, scores)
                .map_err(|found| {
                    let under =
                        |flaw: Flaw| Flaw { path: format!("twice[{i}].{name}.{}", flaw.path), ..flaw };
                    flaws.extend(found.into_iter().map(under));
                })
                .ok()
        };
        let both = (side("first", &twice.first), side("second", &twice.second));
        if let (Some(first), Some(second)) = both {
            graded.push((first, second));
        }
    }
    if flaws.is_empty() { Ok(graded) } else { Err(flaws) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::welfare::grade::Confidence;
    use crate::welfare::protocol::{Band as Stretch, Basis, Indicator, Level, Protocol};

    fn protocol() -> Sound {
        let indicator = |code: &str, domain, scale| Indicator {
            code: code.into(),
            text: code.into(),
            domain,
            basis: Basis::Animal,
            guidance: "Look.".into(),
            scale,
        };
        let level = |name: &str, compromise| Level {
            name: name.into(),
            compromise,
            enhancement: Enhancement::None,
            affect: None,
        };
        let bands = [(0.0, Compromise::A), (5.0, Compromise::C)].map(|(from, compromise)| Stretch {
            from,
            compromise,
            enhancement: Enhancement::None,
            affect: None,
        });
        Protocol {
            code: "pair".into(),
            version: 1,
            title: "Pair".into(),
            species: Vec::new(),
            indicators: vec![
                indicator(
                    "coat",
                    Domain::Health,
                    Scale::Levels {
                        levels: vec![
                            level("full", Compromise::A),
                            level("thin", Compromise::B),
                            level("bare", Compromise::D),
                        ],
                    },
                ),
                indicator(
                    "pacing",
                    Domain::Behaviour,
                    Scale::Measured { unit: "min".into(), min: 0.0, max: 60.0, bands: bands.to_vec() },
                ),
            ],
        }
        .try_into()
        .unwrap()
    }

    fn scores(coat: &str, pacing: f64) -> Vec<Score> {
        let score =
            |indicator: &str, raw| Score { indicator: indicator.into(), raw, confidence: Confidence::High };
        vec![score("coat", Raw::Level(coat.into())), score("pacing", Raw::Number(pacing))]
    }

    fn twice(n: u32) -> Vec<Twice> {
        let coats = ["full", "thin", "bare"];
        (0..n)
            .map(|i| Twice {
                first: scores(coats[i as usize % 3], f64::from(i)),
                // The second calls every fourth thin coat full, and sees two minutes more of pacing.
                second: scores(if i % 12 == 4 { "full" } else { coats[i as usize % 3] }, f64::from(i) + 2.0),
            })
            .collect()
    }

    #[test]
    fn each_indicator_and_domain_is_judged_by_its_own_measure() {
        let indicators = by_indicator(&protocol(), &twice(24)).unwrap();
        let coat = &indicators["coat"];
        assert_eq!((coat.pairs, coat.same), (24, 22));
        assert_eq!((coat.lean.first_higher, coat.lean.second_higher), (2, 0));
        assert!(matches!(coat.measure, Measure::Kappa(kappa) if kappa.kappa > 0.9 && kappa.kappa < 1.0));

        let pacing = &indicators["pacing"];
        assert_eq!(pacing.lean.second_higher, 24);
        assert!(pacing.lean.p < 1e-6, "a constant shift is a lean, however well the two agree otherwise");
        let Measure::Icc { icc, band, at_least, .. } = pacing.measure else { panic!("{pacing:?}") };
        assert!(icc.value < 0.98 && band == Band::Excellent && at_least < Some(Band::Excellent));

        let domains = by_domain(&protocol(), &twice(24)).unwrap();
        assert_eq!(domains[&Domain::Health].compromise.same, 22);
        assert_eq!(domains[&Domain::Nutrition].compromise.pairs, 0);
    }

    #[test]
    fn few_pairs_and_pairs_without_variation_give_no_number() {
        assert_eq!(by_indicator(&protocol(), &twice(9)).unwrap()["coat"].measure, Measure::TooFew);
        let flat: Vec<Twice> =
            (0..20).map(|_| Twice { first: scores("full", 3.0), second: scores("full", 3.0) }).collect();
        let told = by_indicator(&protocol(), &flat).unwrap();
        assert_eq!(told["coat"].same, 20);
        assert_eq!(told["coat"].measure, Measure::NoVariation);
        assert_eq!(told["pacing"].measure, Measure::NoVariation);
    }

    #[test]
    fn flaws_say_whose_assessment_they_are_in() {
        let mut pairs = twice(2);
        pairs[1].second[0].raw = Raw::Level("glossy".into());
        for refused in
            [by_indicator(&protocol(), &pairs).unwrap_err(), by_domain(&protocol(), &pairs).unwrap_err()]
        {
            assert_eq!(refused.len(), 1);
            assert_eq!(refused[0].path, "twice[1].second.findings[0].level");
        }
    }
}
