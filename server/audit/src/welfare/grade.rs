//! From the raw scores of one assessment to two grades per domain.
//!
//! Three rules are Holt's own, made in the spirit of the sources and not taken from them:
//! 1. *How bad* a domain is, is the worst that any of its indicators found.
//! 2. *How good* it is, is the best that an indicator found by looking at the animal. Things that are
//!    only provided count for no more than `+`: an opportunity given is not yet one taken.
//! 3. One witness proves a compromise, so its confidence is the best among those who found the worst. That
//!    there is none, or nothing good, needs all witnesses: its confidence is the least among those
//!    assessed, and low while fewer than half of the domain's indicators were.

use super::mental::{self, Mental};
use super::protocol::{Basis, Compromise, Enhancement, Indicator, Meaning, Scale};
use super::validate::{Flaw, Sound};
use crate::terms::Domain;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// A raw score. An indicator that was not assessed has none: that is never the same as good.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Score {
    /// Code of the indicator.
    pub indicator: String,
    /// What was found.
    pub raw: Raw,
    /// How sure the assessor was.
    pub confidence: Confidence,
}

/// What was found, as entered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Raw {
    /// The name of a level.
    Level(String),
    /// A value in the unit of the scale.
    Number(f64),
}

impl Raw {
    /// What kind of value it is, as a path names it.
    const fn name(&self) -> &'static str {
        match self {
            Self::Level(_) => "level",
            Self::Number(_) => "number",
        }
    }
}

/// How sure one is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Confidence {
    /// Guessed, or seen once and not well.
    Low,
    /// Seen.
    Medium,
    /// Seen well or measured.
    High,
}

/// A grade with what supports it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Judged<G> {
    /// The grade.
    pub grade: G,
    /// Codes of the indicators that gave it; all that were assessed where nothing bad or good was found.
    pub evidence: Vec<String>,
    /// How sure it is.
    pub confidence: Confidence,
}

/// What the assessment says about one observed domain.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct DomainGrade {
    /// How bad; `None` where no indicator of the domain was assessed.
    pub compromise: Option<Judged<Compromise>>,
    /// How good; `None` where no indicator of the domain was assessed.
    pub enhancement: Option<Judged<Enhancement>>,
    /// Codes of the indicators that were assessed.
    pub assessed: Vec<String>,
    /// Codes of the indicators that were not.
    pub missing: Vec<String>,
}

impl fmt::Display for DomainGrade {
    /// Both grades in one symbol, as `C/+`; a dash where nothing was assessed.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.compromise, &self.enhancement) {
            (Some(bad), Some(good)) => write!(f, "{}/{}", bad.grade, good.grade),
            _ => f.write_str("-"),
        }
    }
}

/// What an assessment says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Graded {
    /// The four domains that are observed.
    pub domains: BTreeMap<Domain, DomainGrade>,
    /// The fifth, inferred from them.
    pub mental: Mental,
}

/// Grades the scores of one assessment.
///
/// # Errors
/// Every score that names no indicator of the protocol, names one twice, or does not lie on its scale.
pub fn grade(protocol: &Sound, scores: &[Score]) -> Result<Graded, Vec<Flaw>> {
    let found = findings(protocol, scores)?;
    let domains: BTreeMap<Domain, DomainGrade> =
        Domain::OBSERVED.into_iter().map(|domain| (domain, of_domain(protocol, domain, &found))).collect();
    let mental = mental::infer(&domains, &found);
    Ok(Graded { domains, mental })
}

/// One score with its place in the protocol.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found<'a> {
    pub(super) indicator: &'a Indicator,
    pub(super) meaning: Meaning<'a>,
    pub(super) confidence: Confidence,
}

impl Found<'_> {
    /// How good, by rule 2.
    pub(super) fn supported(&self) -> Enhancement {
        match self.indicator.basis {
            Basis::Animal => self.meaning.enhancement,
            Basis::Resource => self.meaning.enhancement.min(Enhancement::Low),
        }
    }
}

/// The place of a raw value on its scale, counted from 0; `None` where it lies on none.
#[must_use]
pub fn place(scale: &Scale, raw: &Raw) -> Option<usize> {
    match (scale, raw) {
        (Scale::Levels { levels }, Raw::Level(name)) => levels.iter().position(|level| level.name == *name),
        (Scale::Measured { min, max, bands, .. }, Raw::Number(value)) if min <= value && value <= max => {
            bands.iter().rposition(|band| band.from <= *value)
        }
        _ => None,
    }
}

fn findings<'a>(protocol: &'a Sound, scores: &[Score]) -> Result<Vec<Found<'a>>, Vec<Flaw>> {
    let (mut found, mut flaws, mut seen) = (Vec::new(), Vec::new(), BTreeSet::new());
    for (i, score) in scores.iter().enumerate() {
        let mut refuse = |field: &str, what: String, mend: String| {
            flaws.push(Flaw { path: format!("findings[{i}].{field}"), what, mend });
        };
        let Some(indicator) = protocol.indicator(&score.indicator) else {
            let known: Vec<_> = protocol.indicators.iter().map(|known| known.code.as_str()).collect();
            refuse(
                "indicator",
                format!("protocol {} has no indicator {:?}", protocol.code, score.indicator),
                format!("use one of {}", known.join(", ")),
            );
            continue;
        };
        if !seen.insert(&indicator.code) {
            refuse("indicator", format!("{:?} is scored twice", indicator.code), "keep one".to_owned());
            continue;
        }
        match place(&indicator.scale, &score.raw) {
            Some(at) => {
                let meaning = indicator.scale.meanings()[at];
                found.push(Found { indicator, meaning, confidence: score.confidence });
            }
            None => refuse(score.raw.name(), off_scale(indicator, &score.raw), what_fits(&indicator.scale)),
        }
    }
    if flaws.is_empty() { Ok(found) } else { Err(flaws) }
}

fn off_scale(indicator: &Indicator, raw: &Raw) -> String {
    match raw {
        Raw::Level(name) => format!("{name:?} is not on the scale of {:?}", indicator.code),
        Raw::Number(value) => format!("{value} is not on the scale of {:?}", indicator.code),
    }
}

fn what_fits(scale: &Scale) -> String {
    match scale {
        Scale::Levels { levels } => {
            let names: Vec<_> = levels.iter().map(|level| level.name.as_str()).collect();
            format!("use one of {}", names.join(" | "))
        }
        Scale::Measured { unit, min, max, .. } => format!("give a number from {min} to {max} in {unit}"),
    }
}

fn of_domain(protocol: &Sound, domain: Domain, found: &[Found<'_>]) -> DomainGrade {
    let here: Vec<&Found<'_>> = found.iter().filter(|f| f.indicator.domain == domain).collect();
    let assessed: Vec<String> = here.iter().map(|f| f.indicator.code.clone()).collect();
    let missing: Vec<String> = protocol
        .indicators
        .iter()
        .filter(|indicator| indicator.domain == domain && !assessed.contains(&indicator.code))
        .map(|indicator| indicator.code.clone())
        .collect();
    let thin = assessed.len() < missing.len();
    DomainGrade {
        compromise: judge(&here, |f| f.meaning.compromise, Compromise::A, thin),
        enhancement: judge(&here, |f| f.supported(), Enhancement::None, thin),
        assessed,
        missing,
    }
}

/// The highest grade with its witnesses, by rule 3. `nothing` is the grade that needs all of them.
fn judge<G: Copy + Ord>(
    found: &[&Found<'_>],
    grade: impl Fn(&Found<'_>) -> G,
    nothing: G,
    thin: bool,
) -> Option<Judged<G>> {
    let highest = found.iter().map(|f| grade(f)).max()?;
    let witnesses = found.iter().filter(|f| grade(f) == highest);
    let sure = witnesses.clone().map(|f| f.confidence);
    let confidence =
        if highest == nothing { if thin { Some(Confidence::Low) } else { sure.min() } } else { sure.max() }?;
    let evidence = witnesses.map(|f| f.indicator.code.clone()).collect();
    Some(Judged { grade: highest, evidence, confidence })
}
