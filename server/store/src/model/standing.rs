//! The standing of the members of a group.

use crate::model::animal::Label;
use crate::model::group::Role;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::standing::budget::{OfScans, OfTime};
use holt_audit::standing::david::Score;
use holt_audit::standing::exclusion::Estimate;
use holt_audit::standing::linearity::Linearity;
use holt_audit::standing::observed::Rates;
use std::collections::BTreeMap;
use uuid::Uuid;

/// How many of how many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Part {
    pub hits: u32,
    pub of: u32,
}

/// What an animal, or a group as of one, does with its time.
#[derive(Clone, Debug)]
pub struct Budget {
    pub of_scans: OfScans<String>,
    pub of_time: OfTime<String>,
}

/// A member with what was seen of it.
#[derive(Clone, Debug)]
pub struct Member {
    pub animal: Label,
    pub role: Role,
    /// None where nothing was decided in the group.
    pub score: Option<Score<Uuid>>,
    pub won: u32,
    pub lost: u32,
    /// None where it had no contest.
    pub elo: Option<f64>,
    /// Its rating after each contest of the days.
    pub course: Vec<(DateTime<Utc>, f64)>,
    pub rates: Rates,
    pub kept_off: Part,
    pub alone: Part,
    /// Strongest first.
    pub ties: Vec<(Label, f64)>,
    pub strength: f64,
    pub budget: Budget,
}

/// A group with what was seen of it over some days.
#[derive(Clone, Debug)]
pub struct Standing {
    pub group: String,
    pub days: (NaiveDate, NaiveDate),
    pub watches: usize,
    pub hours: f64,
    pub decided: usize,
    /// Of animals that are no members any more.
    pub decided_with_others: usize,
    pub scans: usize,
    pub feeds: usize,
    /// Highest score first.
    pub members: Vec<Member>,
    pub steepness: Option<f64>,
    /// None for fewer than three members.
    pub linearity: Option<Linearity<Uuid>>,
    pub draws: u32,
    pub labels: BTreeMap<Uuid, Label>,
    pub budget: Budget,
    /// Most likely first, with each piece of evidence in words.
    pub pushed_out: Vec<Pushed>,
}

/// What speaks for it that a member is being pushed out.
#[derive(Clone, Debug)]
pub struct Pushed {
    pub animal: Label,
    pub estimate: Estimate<Uuid>,
    /// The parts in words, in their order.
    pub said: Vec<String>,
}

/// What these figures are and are not; printed wherever they are read.
pub const CAUTION: &str = "Holt shows only what somebody observed. The estimate of who is being driven out \
    rests on weights from simulated groups: it puts members in an order, and how often it is right is not \
    known. It is not a diagnosis and does not replace your vet, your licence or local law.";
