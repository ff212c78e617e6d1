//! Reference curves as versioned data: L, M and S by age, with their source.

use super::Lms;
use crate::terms::Sex;
use crate::welfare::Flaw;
use serde::{Deserialize, Serialize};
use std::ops::Deref;

/// A reference curve, as a file states it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reference {
    /// Code: small letters, digits and hyphens.
    pub code: String,
    /// Version, 1 and up.
    pub version: u32,
    /// What it is.
    pub title: String,
    /// Scientific name of the species.
    pub species: String,
    /// The sex it is for; both where there is none.
    #[serde(default)]
    pub sex: Option<Sex>,
    /// Where it is from: a paper, a book with its page.
    pub source: String,
    /// What is usual at each age, in order of age.
    #[serde(rename = "age")]
    pub ages: Vec<AtAge>,
}

/// What is usual at one age.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AtAge {
    /// Age in days.
    pub days: f64,
    /// Box–Cox power.
    pub l: f64,
    /// Median, in grams.
    pub m: f64,
    /// Coefficient of variation.
    pub s: f64,
}

/// A reference without flaws: only such a one is read from.
#[derive(Clone, Debug, PartialEq)]
pub struct SoundReference(Reference);

impl Deref for SoundReference {
    type Target = Reference;
    fn deref(&self) -> &Reference {
        &self.0
    }
}

impl TryFrom<Reference> for SoundReference {
    type Error = Vec<Flaw>;

    fn try_from(reference: Reference) -> Result<Self, Vec<Flaw>> {
        let flaws = flaws(&reference);
        if flaws.is_empty() { Ok(Self(reference)) } else { Err(flaws) }
    }
}

impl SoundReference {
    /// What is usual at an age, in days: between two ages of the table along a straight line, each of L, M
    /// and S by itself, as tables of this kind are read. `None` before the first age and after the last.
    #[must_use]
    pub fn at(&self, age: f64) -> Option<Lms> {
        let after = self.ages.partition_point(|at| at.days <= age);
        let before = self.ages.get(after.checked_sub(1)?)?;
        let Some(next) = self.ages.get(after) else {
            return (before.days >= age).then_some(Lms { l: before.l, m: before.m, s: before.s });
        };
        let part = (age - before.days) / (next.days - before.days);
        let between = |one: f64, other: f64| one + part * (other - one);
        Some(Lms { l: between(before.l, next.l), m: between(before.m, next.m), s: between(before.s, next.s) })
    }

    /// Whether it is for animals of a sex; those of unknown sex are held against curves for both only.
    #[must_use]
    pub fn is_for(&self, sex: Sex) -> bool {
        self.sex.is_none_or(|own| own == sex)
    }
}

fn flaws(reference: &Reference) -> Vec<Flaw> {
    let mut flaws = Vec::new();
    let mut unless = |holds: bool, path: String, what: &str, mend: &str| {
        if !holds {
            flaws.push(Flaw { path, what: what.to_owned(), mend: mend.to_owned() });
        }
    };
    let code = reference.code.starts_with(|c: char| c.is_ascii_lowercase())
        && reference.code.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
    unless(code, "code".to_owned(), "is not a code", "write small letters, digits and hyphens");
    unless(reference.version > 0, "version".to_owned(), "is 0", "count from 1");
    for (field, text) in
        [("title", &reference.title), ("species", &reference.species), ("source", &reference.source)]
    {
        unless(!text.trim().is_empty(), field.to_owned(), "is empty", "fill it in");
    }
    unless(
        reference.sex != Some(Sex::Unknown),
        "sex".to_owned(),
        "is unknown",
        "write male or female, or leave it out if the curve is for both",
    );
    unless(reference.ages.len() >= 2, "age".to_owned(), "has fewer than two ages", "give the whole table");
    for (n, at) in reference.ages.iter().enumerate() {
        let path = |field: &str| format!("age[{n}].{field}");
        unless(at.days >= 0.0 && at.days < 40_000.0, path("days"), "is not an age", "give days from 0");
        unless(at.l.is_finite() && at.l.abs() <= 10.0, path("l"), "is not a power", "give -10 to 10");
        unless(at.m > 0.0 && at.m.is_finite(), path("m"), "is not a weight", "give grams above 0");
        unless(
            at.s > 0.0 && at.s < 1.0,
            path("s"),
            "is not a coefficient of variation",
            "give 0 to 1, without both",
        );
        let rises = n == 0 || reference.ages[n - 1].days < at.days;
        unless(rises, path("days"), "does not rise", "put the ages in order, each once");
    }
    flaws
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reference() -> Reference {
        Reference {
            code: "otter-cubs".to_owned(),
            version: 1,
            title: "Cubs".to_owned(),
            species: "Lontra canadensis".to_owned(),
            sex: Some(Sex::Female),
            source: "invented".to_owned(),
            ages: vec![
                AtAge { days: 0.0, l: 1.0, m: 150.0, s: 0.10 },
                AtAge { days: 30.0, l: 0.0, m: 750.0, s: 0.14 },
            ],
        }
    }

    #[test]
    fn between_two_ages_a_straight_line_and_beyond_them_nothing() {
        let sound = SoundReference::try_from(reference()).unwrap();
        let middle = sound.at(15.0).unwrap();
        assert!(
            (middle.m - 450.0).abs() < 1e-9
                && (middle.l - 0.5).abs() < 1e-9
                && (middle.s - 0.12).abs() < 1e-9
        );
        assert_eq!(sound.at(0.0).map(|at| at.m), Some(150.0));
        assert_eq!(sound.at(30.0).map(|at| at.m), Some(750.0));
        assert_eq!((sound.at(-1.0), sound.at(30.5)), (None, None));
        assert!(sound.is_for(Sex::Female) && !sound.is_for(Sex::Male) && !sound.is_for(Sex::Unknown));
    }

    #[test]
    fn every_flaw_is_told_at_once() {
        let mut wrong = reference();
        wrong.code = "Otters".to_owned();
        wrong.source = " ".to_owned();
        wrong.ages[1] = AtAge { days: 0.0, l: f64::NAN, m: 0.0, s: 1.0 };
        let flaws = SoundReference::try_from(wrong).unwrap_err();
        let paths: Vec<&str> = flaws.iter().map(|flaw| flaw.path.as_str()).collect();
        assert_eq!(paths, ["code", "source", "age[1].l", "age[1].m", "age[1].s", "age[1].days"]);
    }
}
