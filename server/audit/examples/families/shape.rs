//! The shapes of herds and families that a rule is measured on.

/// Lowest and highest, evenly drawn.
pub(crate) type Range = [f64; 2];

/// How pregnancies come to be known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Breeding {
    None,
    /// Nobody records a thing.
    Unrecorded,
    /// Births are recorded on the day; the young are never weighed here.
    BirthsRecorded,
    /// Births are recorded, half of the pregnancies are noted before, and the young grow up in the group.
    Family,
}

/// What happens to the weights of a herd.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    pub(crate) name: &'static str,
    /// It is one of the families.
    pub(crate) family: bool,
    pub(crate) groups: usize,
    pub(crate) adults: usize,
    /// Young of one litter at the start, in each group.
    pub(crate) young: usize,
    /// A dam carries at the start, in each group.
    pub(crate) carrying: bool,
    /// ln grams of the kind.
    pub(crate) kind: Range,
    pub(crate) noise: Range,
    /// Spread of the slow wandering, and its memory from week to week.
    pub(crate) wander: Range,
    pub(crate) memory: f64,
    /// Noise of Student's t with three degrees of freedom.
    pub(crate) tails: bool,
    /// Highest share that a meal weighs.
    pub(crate) meal: f64,
    /// What scales count in, as a share of an adult.
    pub(crate) step: Range,
    /// Scales that are in use side by side.
    pub(crate) scales: usize,
    /// Years between two replacements of a scale; 0 for never.
    pub(crate) replaced_years: f64,
    /// A new scale gets a name of its own.
    pub(crate) said: bool,
    /// Size of the yearly wave.
    pub(crate) season: Range,
    pub(crate) seasonal: bool,
    /// Share of a round that is missed, and of attempts that are refused.
    pub(crate) missed: Range,
    pub(crate) refused: Range,
    /// A light animal stays away.
    pub(crate) not_at_random: bool,
    pub(crate) breeding: Breeding,
    /// What males lose in rut.
    pub(crate) rut: Range,
    /// What all lose while they moult.
    pub(crate) moult: Range,
    /// Dips of ten days, a year.
    pub(crate) dips: f64,
    /// Changes of feed of a group, a year.
    pub(crate) feeds: f64,
    /// Slips in a thousand entries.
    pub(crate) slips: f64,
    /// Share of adults that leave in a year; others come instead.
    pub(crate) turnover: f64,
    /// Those who arrive are not yet grown.
    pub(crate) growers: bool,
}

/// Eight adults in each of two groups, weighed weekly on one good scale.
const STEADY: Shape = Shape {
    name: "steady",
    family: false,
    groups: 2,
    adults: 8,
    young: 0,
    carrying: false,
    kind: [4.6, 11.0],
    noise: [0.006, 0.02],
    wander: [0.005, 0.015],
    memory: 0.88,
    tails: false,
    meal: 0.0,
    step: [0.0003, 0.002],
    scales: 1,
    replaced_years: 0.0,
    said: true,
    season: [0.0, 0.0],
    seasonal: false,
    missed: [0.02, 0.08],
    refused: [0.02, 0.06],
    not_at_random: false,
    breeding: Breeding::None,
    rut: [0.0, 0.0],
    moult: [0.0, 0.0],
    dips: 0.0,
    feeds: 0.0,
    slips: 1.0,
    turnover: 0.0,
    growers: false,
};

/// A family: young are born, grow up and leave; some die, some join.
const FAMILY: Shape = Shape {
    name: "",
    family: true,
    groups: 1,
    adults: 4,
    young: 4,
    kind: [4.6, 9.5],
    breeding: Breeding::Family,
    turnover: 0.08,
    slips: 3.0,
    ..STEADY
};

pub(crate) const SHAPES: [Shape; 30] = [
    STEADY,
    Shape { name: "irregular rounds", missed: [0.3, 0.6], refused: [0.05, 0.2], ..STEADY },
    Shape { name: "new scales, named", scales: 2, replaced_years: 1.3, ..STEADY },
    Shape { name: "scale replaced, unsaid", replaced_years: 1.3, said: false, ..STEADY },
    Shape { name: "coarse scales", step: [0.02, 0.05], ..STEADY },
    Shape { name: "big meals", meal: 0.12, ..STEADY },
    Shape { name: "unrecorded pregnancies", breeding: Breeding::Unrecorded, ..STEADY },
    Shape { name: "births recorded", breeding: Breeding::BirthsRecorded, ..STEADY },
    Shape { name: "rut", rut: [0.06, 0.14], ..STEADY },
    Shape { name: "slow wandering", wander: [0.025, 0.04], memory: 0.965, ..STEADY },
    Shape { name: "season, declared", season: [0.05, 0.15], seasonal: true, ..STEADY },
    Shape { name: "season, not said", season: [0.05, 0.15], ..STEADY },
    Shape { name: "season of 15 %", season: [0.15, 0.15], seasonal: true, ..STEADY },
    Shape { name: "moult", moult: [0.06, 0.12], ..STEADY },
    Shape { name: "heavy tails", tails: true, ..STEADY },
    Shape { name: "many refusals", refused: [0.3, 0.55], ..STEADY },
    Shape { name: "light ones stay away", not_at_random: true, ..STEADY },
    Shape { name: "dips of ten days", dips: 1.5, ..STEADY },
    Shape { name: "changes of feed", feeds: 0.8, ..STEADY },
    Shape { name: "2 to 30 g", kind: [0.7, 3.4], step: [0.002, 0.02], noise: [0.01, 0.03], ..STEADY },
    Shape { name: "0.5 to 6 t", kind: [13.1, 15.6], missed: [0.4, 0.7], noise: [0.004, 0.012], ..STEADY },
    Shape { name: "comings and goings", turnover: 0.6, ..STEADY },
    Shape { name: "newcomers still grow", turnover: 0.35, growers: true, ..STEADY },
    Shape {
        name: "all at once",
        scales: 3,
        season: [0.0, 0.12],
        seasonal: true,
        missed: [0.02, 0.25],
        refused: [0.02, 0.2],
        breeding: Breeding::BirthsRecorded,
        dips: 0.3,
        feeds: 0.2,
        slips: 6.0,
        turnover: 0.1,
        meal: 0.03,
        ..STEADY
    },
    Shape { name: "4 adults, 4 young", ..FAMILY },
    Shape { name: "2 adults, 4 young", adults: 2, ..FAMILY },
    Shape { name: "6 and 4, a dam carries", adults: 6, carrying: true, ..FAMILY },
    Shape { name: "6 adults, 4 young", adults: 6, ..FAMILY },
    Shape { name: "10 adults, 4 young", adults: 10, ..FAMILY },
    Shape {
        name: "families, all at once",
        adults: 5,
        carrying: true,
        scales: 2,
        replaced_years: 2.0,
        season: [0.0, 0.1],
        seasonal: true,
        missed: [0.05, 0.25],
        refused: [0.05, 0.25],
        not_at_random: true,
        dips: 0.3,
        feeds: 0.2,
        meal: 0.05,
        ..FAMILY
    },
];
