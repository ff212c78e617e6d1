//! Whether a protocol can be used; if not, everything that stands in the way, and how to mend it.

use super::protocol::{Compromise, Enhancement, Indicator, Protocol, Scale};
use crate::terms::Domain;
use std::collections::BTreeSet;
use std::fmt;
use std::ops::Deref;

/// Something in a protocol or an assessment that cannot stand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Flaw {
    /// Where, as a path from the top (`indicator[2].scale.bands[0].from`), counted from 0.
    pub path: String,
    /// What is wrong.
    pub what: String,
    /// What would put it right.
    pub mend: String,
}

impl fmt::Display for Flaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}; {}", self.path, self.what, self.mend)
    }
}

/// A protocol without flaws: only such a one grades.
#[derive(Clone, Debug, PartialEq)]
pub struct Sound(Protocol);

impl Deref for Sound {
    type Target = Protocol;
    fn deref(&self) -> &Protocol {
        &self.0
    }
}

impl TryFrom<Protocol> for Sound {
    type Error = Vec<Flaw>;

    fn try_from(protocol: Protocol) -> Result<Self, Vec<Flaw>> {
        let flaws = flaws(&protocol);
        if flaws.is_empty() { Ok(Self(protocol)) } else { Err(flaws) }
    }
}

impl Sound {
    /// The indicator of that code.
    #[must_use]
    pub fn indicator(&self, code: &str) -> Option<&Indicator> {
        self.indicators.iter().find(|indicator| indicator.code == code)
    }
}

/// Collects flaws.
pub(crate) struct Finder(pub(crate) Vec<Flaw>);

impl Finder {
    /// Notes a flaw, unless something holds.
    pub(crate) fn unless(&mut self, holds: bool, path: &str, what: &str, mend: &str) {
        if !holds {
            self.0.push(Flaw { path: path.to_owned(), what: what.to_owned(), mend: mend.to_owned() });
        }
    }
}

fn flaws(protocol: &Protocol) -> Vec<Flaw> {
    let mut found = Finder(Vec::new());
    code(&mut found, "code", &protocol.code);
    found.unless(protocol.version > 0, "version", "versions are counted from 1", "write 1 for the first");
    said(&mut found, "title", &protocol.title);
    for (i, name) in protocol.species.iter().enumerate() {
        said(&mut found, &format!("species[{i}]"), name);
    }
    found.unless(
        !protocol.indicators.is_empty(),
        "indicator",
        "the protocol has no indicator",
        "add at least one indicator",
    );
    let mut seen = BTreeSet::new();
    for (i, indicator) in protocol.indicators.iter().enumerate() {
        let path = format!("indicator[{i}]");
        found.unless(
            seen.insert(&indicator.code),
            &format!("{path}.code"),
            &format!("{:?} is taken by an indicator before it", indicator.code),
            "give each indicator a code of its own",
        );
        self::indicator(&mut found, &path, indicator);
    }
    found.0
}

fn indicator(found: &mut Finder, path: &str, indicator: &Indicator) {
    code(found, &format!("{path}.code"), &indicator.code);
    said(found, &format!("{path}.text"), &indicator.text);
    said(found, &format!("{path}.guidance"), &indicator.guidance);
    found.unless(
        indicator.domain != Domain::Mental,
        &format!("{path}.domain"),
        "the mental state is inferred from the other four domains and never entered",
        "name the domain whose evidence this is, and what it would make the animal feel as its affect",
    );
    let path = format!("{path}.scale");
    match &indicator.scale {
        Scale::Levels { levels } => {
            found.unless(
                levels.len() >= 2,
                &format!("{path}.levels"),
                "a scale needs two levels or more",
                "add the other levels",
            );
            let mut names = BTreeSet::new();
            for (i, level) in levels.iter().enumerate() {
                let path = format!("{path}.levels[{i}].name");
                said(found, &path, &level.name);
                found.unless(
                    names.insert(&level.name),
                    &path,
                    &format!("{:?} is named twice", level.name),
                    "name each level differently",
                );
            }
        }
        Scale::Measured { unit, min, max, bands } => {
            said(found, &format!("{path}.unit"), unit);
            found.unless(
                min.is_finite() && max.is_finite() && min < max,
                &format!("{path}.max"),
                "no value lies between min and max",
                "give the smallest and the largest value that is possible",
            );
            let starts: Vec<f64> = bands.iter().map(|band| band.from).collect();
            found.unless(
                starts.first().is_some_and(|first| first.total_cmp(min).is_eq()),
                &format!("{path}.bands[0].from"),
                "the first band does not begin at min, so values below it would mean nothing",
                &format!("begin it at {min}"),
            );
            for (i, pair) in starts.windows(2).enumerate() {
                found.unless(
                    pair[0] < pair[1],
                    &format!("{path}.bands[{}].from", i + 1),
                    "the bands do not ascend",
                    "order them by the value they begin at, each value once",
                );
            }
            found.unless(
                starts.last().is_none_or(|last| last <= max),
                &format!("{path}.bands[{}].from", starts.len().saturating_sub(1)),
                "the last band begins above max and can never be reached",
                "lower it, or raise max",
            );
        }
    }
    let says_something = indicator
        .scale
        .meanings()
        .iter()
        .any(|m| m.compromise != Compromise::A || m.enhancement != Enhancement::None);
    found.unless(
        says_something,
        &path,
        "no finding means bad or good",
        "grade at least one value other than A and 0",
    );
}

/// A code is lower-case words joined by hyphens.
pub(crate) fn code(found: &mut Finder, path: &str, text: &str) {
    let words = text.split('-');
    let plain =
        |word: &str| !word.is_empty() && word.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit());
    found.unless(
        words.clone().all(plain),
        path,
        &format!("{text:?} is not a code"),
        "use lower-case letters and digits, words joined by hyphens",
    );
}

/// A text for people is not empty.
pub(crate) fn said(found: &mut Finder, path: &str, text: &str) {
    found.unless(!text.trim().is_empty(), path, "this is empty", "write words for people");
}
