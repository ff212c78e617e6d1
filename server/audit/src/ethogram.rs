//! The behaviours that are watched for, as versioned data. What is worked out from observations goes by
//! the kind of a behaviour and by who stands above in it, never by its code: each house may have its own.

use crate::welfare::Flaw;
use crate::welfare::validate::{Finder, code, said};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::ops::Deref;

/// The behaviours of a species, as a file states them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ethogram {
    /// Short name, in lower-case words joined by hyphens.
    pub code: String,
    /// Counted from 1. Watches name the version they were made by.
    pub version: u32,
    /// Name for people.
    pub title: String,
    /// Scientific names of the species it is for; none means any.
    #[serde(default)]
    pub species: Vec<String>,
    /// What is watched for.
    #[serde(rename = "behaviour")]
    pub behaviours: Vec<Behaviour>,
}

/// One behaviour.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Behaviour {
    /// Short name, unique in the ethogram, in lower-case words joined by hyphens.
    pub code: String,
    /// Name for people.
    pub name: String,
    /// What kind of thing it is.
    pub kind: Kind,
    /// Whether it is done to another animal.
    #[serde(default)]
    pub receiver: Receiver,
    /// Who stands above when it is done.
    #[serde(default)]
    pub above: Above,
    /// What counts as it, so that two people note the same.
    pub meaning: String,
}

/// What kind of thing a behaviour is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// One comes and the other gives up its place or its food.
    Displacement,
    /// One runs after another that flees.
    Chase,
    /// Teeth or claws, in earnest.
    Bite,
    /// A threat without touch.
    Threat,
    /// One gives way or shows that it yields without being driven.
    Submission,
    /// Stays off the food until others have done.
    HangBack,
    /// Mounts, or mates.
    Mount,
    /// Cleans the coat of another.
    Groom,
    /// Rests in touch with others.
    Huddle,
    /// Plays with another.
    Play,
    /// Keeps watch.
    Guard,
    /// Eats.
    AtFood,
    /// By itself, out of the others' company.
    Alone,
    /// Rests or sleeps.
    Rest,
    /// Goes about.
    Move,
    /// Anything else.
    Other,
}

impl Kind {
    /// Whether it is aggression against the receiver.
    #[must_use]
    pub const fn is_aggression(self) -> bool {
        matches!(self, Self::Displacement | Self::Chase | Self::Bite | Self::Threat)
    }

    /// Whether it is friendly contact.
    #[must_use]
    pub const fn is_friendly(self) -> bool {
        matches!(self, Self::Groom | Self::Huddle | Self::Play)
    }
}

/// Whether a behaviour is done to another animal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Receiver {
    /// To nobody.
    #[default]
    None,
    /// It may be.
    May,
    /// Always.
    Must,
}

/// Who stands above when a behaviour is done: the one that stays or takes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Above {
    /// It decides nothing.
    #[default]
    Nobody,
    /// The one that does it.
    Actor,
    /// The one to which it is done.
    Receiver,
}

/// An ethogram without flaws: only by such a one is watched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SoundEthogram(Ethogram);

impl Deref for SoundEthogram {
    type Target = Ethogram;
    fn deref(&self) -> &Ethogram {
        &self.0
    }
}

impl TryFrom<Ethogram> for SoundEthogram {
    type Error = Vec<Flaw>;

    fn try_from(ethogram: Ethogram) -> Result<Self, Vec<Flaw>> {
        let flaws = flaws(&ethogram);
        if flaws.is_empty() { Ok(Self(ethogram)) } else { Err(flaws) }
    }
}

impl SoundEthogram {
    /// The behaviour of that code.
    #[must_use]
    pub fn behaviour(&self, code: &str) -> Option<&Behaviour> {
        self.behaviours.iter().find(|behaviour| behaviour.code == code)
    }
}

fn flaws(ethogram: &Ethogram) -> Vec<Flaw> {
    let mut found = Finder(Vec::new());
    code(&mut found, "code", &ethogram.code);
    found.unless(ethogram.version > 0, "version", "versions are counted from 1", "write 1 for the first");
    said(&mut found, "title", &ethogram.title);
    for (i, name) in ethogram.species.iter().enumerate() {
        said(&mut found, &format!("species[{i}]"), name);
    }
    found.unless(
        !ethogram.behaviours.is_empty(),
        "behaviour",
        "the ethogram has no behaviour",
        "add at least one behaviour",
    );
    let mut seen = BTreeSet::new();
    for (i, behaviour) in ethogram.behaviours.iter().enumerate() {
        let path = format!("behaviour[{i}]");
        found.unless(
            seen.insert(&behaviour.code),
            &format!("{path}.code"),
            &format!("{:?} is taken by a behaviour before it", behaviour.code),
            "give each behaviour a code of its own",
        );
        self::behaviour(&mut found, &path, behaviour);
    }
    found.0
}

fn behaviour(found: &mut Finder, path: &str, behaviour: &Behaviour) {
    code(found, &format!("{path}.code"), &behaviour.code);
    said(found, &format!("{path}.name"), &behaviour.name);
    said(found, &format!("{path}.meaning"), &behaviour.meaning);
    let aggression = behaviour.kind.is_aggression();
    found.unless(
        !(aggression || behaviour.kind == Kind::Submission) || behaviour.receiver == Receiver::Must,
        &format!("{path}.receiver"),
        "aggression and submission always have a receiver",
        "write receiver = \"must\"",
    );
    found.unless(
        behaviour.above == Above::Nobody || behaviour.receiver == Receiver::Must,
        &format!("{path}.above"),
        "without a receiver nobody stands above another",
        "write receiver = \"must\", or leave `above` out",
    );
    // Winner and loser exchanged give scores that look right and are the exact opposite.
    found.unless(
        !(aggression && behaviour.above == Above::Receiver),
        &format!("{path}.above"),
        "the one that drives another would stand below it",
        "write above = \"actor\", or leave it out if it decides nothing",
    );
    found.unless(
        !(behaviour.kind == Kind::Submission && behaviour.above == Above::Actor),
        &format!("{path}.above"),
        "the one that yields would stand above the other",
        "write above = \"receiver\"",
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chase() -> Behaviour {
        Behaviour {
            code: "chase".to_owned(),
            name: "chases".to_owned(),
            kind: Kind::Chase,
            receiver: Receiver::Must,
            above: Above::Actor,
            meaning: "runs after another for two lengths or more".to_owned(),
        }
    }

    fn of(behaviours: Vec<Behaviour>) -> Ethogram {
        let (code, title) = ("otters".to_owned(), "Otters".to_owned());
        Ethogram { code, version: 1, title, species: Vec::new(), behaviours }
    }

    fn paths(ethogram: Ethogram) -> Vec<String> {
        SoundEthogram::try_from(ethogram)
            .err()
            .unwrap_or_default()
            .into_iter()
            .map(|flaw| flaw.path)
            .collect()
    }

    #[test]
    fn the_one_that_comes_with_holt_is_sound() {
        let document = include_str!("../../ethograms/small-carnivore.toml");
        let ethogram: Ethogram = toml::from_str(document).unwrap();
        assert_eq!(paths(ethogram), Vec::<String>::new());
    }

    #[test]
    fn who_is_above_may_not_be_turned_round() {
        assert_eq!(paths(of(vec![chase()])), Vec::<String>::new());
        let turned = Behaviour { above: Above::Receiver, ..chase() };
        let nobody = Behaviour { code: "run".to_owned(), receiver: Receiver::May, ..chase() };
        let yields =
            Behaviour { code: "yield".to_owned(), kind: Kind::Submission, above: Above::Actor, ..chase() };
        assert_eq!(
            paths(of(vec![turned, nobody, yields])),
            ["behaviour[0].above", "behaviour[1].receiver", "behaviour[1].above", "behaviour[2].above"]
        );
    }

    #[test]
    fn everything_that_is_wrong_is_told_at_once() {
        let wrong = Behaviour { code: "Chase!".to_owned(), meaning: String::new(), ..chase() };
        assert_eq!(
            paths(Ethogram { version: 0, title: " ".to_owned(), ..of(vec![wrong]) }),
            ["version", "title", "behaviour[0].code", "behaviour[0].meaning"]
        );
        assert_eq!(paths(of(vec![chase(), chase()])), ["behaviour[1].code"]);
        assert_eq!(paths(of(Vec::new())), ["behaviour"]);
    }
}
