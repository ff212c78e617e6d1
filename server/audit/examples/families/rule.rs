//! What a rule is given, and what it answers: the records of a site in the order in which they are entered.

use holt_audit::episode::Severity;
use holt_audit::terms::{Day, Instant, Mass, Sex};

/// What a site has said of the kind that it keeps.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Kind {
    /// Its weight is said to go with the season.
    pub(crate) seasonal: bool,
    /// How long it carries.
    pub(crate) gestation_days: Option<i64>,
    /// From which age it breeds: until then it is young.
    pub(crate) breeds_from_days: i64,
}

/// Something that people enter besides weights.
#[derive(Clone, Copy, Debug)]
#[expect(dead_code, reason = "not all of it is used by the rules that are measured")]
pub(crate) enum Fact {
    /// An animal is there from now on: it arrived, or was identified in a litter.
    Joins { animal: usize, group: usize, born: Option<Day>, sex: Sex, dam: Option<usize> },
    /// It died or was moved away.
    Leaves { animal: usize },
    /// Somebody notes that she carries.
    Carries { animal: usize },
    /// Somebody notes that it carries nothing, or nothing any more, without a birth.
    CarriesNoMore { animal: usize },
    /// A litter is born.
    Litter { dam: usize, on: Day },
    /// Somebody notes that it moults, or is in rut, or is through.
    Rests { animal: usize, how: Rest, begins: bool },
    /// Somebody notes another feed for a group.
    Feed { group: usize },
}

/// Why an animal loses what it will regain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Rest {
    Moult,
    Rut,
}

/// A scale, by a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Scale(pub(crate) u32);

/// One attempt to weigh.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Weighing {
    pub(crate) animal: usize,
    pub(crate) at: Instant,
    /// None where it would not come.
    pub(crate) mass: Option<Mass>,
    pub(crate) scale: Scale,
    /// What the scale counts in.
    pub(crate) step: Mass,
}

/// What is answered at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Answer {
    Taken,
    /// Weigh again: it is set aside until something confirms it. This would have fitted.
    SetAside {
        low: Mass,
        high: Mass,
    },
}

/// The answers to a round.
#[derive(Clone, Debug, Default)]
pub(crate) struct Answered {
    pub(crate) each: Vec<Answer>,
    /// Pairs said to be taken for one another.
    pub(crate) exchanges: usize,
    /// The scale is said to be off.
    pub(crate) scale_off: bool,
}

/// Whom a concern is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum About {
    Animal(usize),
    Group(usize),
}

/// What it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Matter {
    /// It loses, or gains no more.
    Weight,
    /// It comes to the scale no more.
    Refusal,
    /// A scale is off.
    ScaleOff,
}

/// A concern that is found after a round.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Open {
    pub(crate) about: About,
    pub(crate) matter: Matter,
    pub(crate) severity: Severity,
    /// How sure it is. It counts only from the limit on that the rule is measured at, so a rule with a limit
    /// tells all scores, and one without always [`CERTAIN`].
    pub(crate) score: f64,
}

/// The score of what a rule without a limit finds.
pub(crate) const CERTAIN: f64 = f64::INFINITY;

/// A way to decide which animals of a site need a look. It is cloned to try out what it would make of a loss,
/// from the week on in which that begins.
pub(crate) trait Rule: Clone {
    /// Something was entered on a day.
    fn fact(&mut self, fact: &Fact, on: Day);

    /// Weights were entered, as one round on one scale.
    fn round(&mut self, round: &[Weighing]) -> Answered;

    /// What is found about a group and its members after the round of a week.
    fn open(&mut self, group: usize, at: Instant) -> Vec<Open>;
}
