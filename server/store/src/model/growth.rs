//! How animals grow.

use crate::model::animal::{Born, Label};
use crate::model::document::Basis;
use chrono::NaiveDate;
use holt_audit::growth::{Band, Kind, Shape, Sibling};
use holt_audit::ration::Verdict;
use holt_audit::terms::Mass;

/// What an expected mass rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExpectedBy {
    /// How it gained of late.
    Gain,
    /// What it usually weighs.
    Habit,
}

/// What an animal should weigh on a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    pub on: NaiveDate,
    pub mass: Band,
    pub by: ExpectedBy,
    /// Readings, or weeks of the baseline, that it rests on.
    pub readings: usize,
}

/// Where a reading lies on a reference curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    pub code: String,
    pub version: u32,
    /// Why it is this version.
    pub basis: Basis,
    pub source: String,
    pub age_days: f64,
    pub z: f64,
    pub z_linear_tails: f64,
    pub median: Mass,
}

/// A growth curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    pub shape: Shape,
    pub adult: Option<Band>,
    pub rate_per_day: f64,
    pub fastest_at: f64,
    pub spread_percent: f64,
}

/// How an animal grows.
#[derive(Clone, Debug, PartialEq)]
pub struct Growing {
    pub animal: Label,
    pub born: Option<Born>,
    pub latest: Option<(NaiveDate, Mass)>,
    pub next: Option<Expected>,
    pub standings: Vec<Standing>,
    pub siblings: Vec<(Label, Mass, Sibling)>,
    pub curve: Option<Curve>,
}

/// How the animals of a species grow.
#[derive(Clone, Debug, PartialEq)]
pub struct OfSpecies {
    pub told: Option<Kind>,
    /// Animals of known age with readings.
    pub animals: usize,
}

/// The energy that an animal needs a day, in kcal.
#[derive(Clone, Debug, PartialEq)]
pub struct Need {
    pub animal: Label,
    pub mass: Mass,
    pub on: NaiveDate,
    pub rest: f64,
    pub low: f64,
    pub high: f64,
    pub source: String,
    /// How a diet compares, where one was given.
    pub verdict: Option<Verdict>,
}
