//! Feeding: foods, what groups are to be given, what animals were given, and what they left.

use crate::model::animal::Label;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use holt_audit::ration::{self, Verdict};
use holt_audit::terms::Mass;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How food is offered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    Scattered,
    Hidden,
    Hand,
    Bowl,
}

impl Method {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Scattered => "scattered",
            Self::Hidden => "hidden",
            Self::Hand => "hand",
            Self::Bowl => "bowl",
        }
    }
}

/// A food.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Food {
    pub id: Uuid,
    pub name: String,
    pub kcal_per_g: f64,
    pub source: String,
    pub note: String,
}

impl Food {
    /// Energy of so much of it.
    #[must_use]
    pub fn kcal(&self, mass: Mass) -> f64 {
        mass.grams() * self.kcal_per_g
    }
}

/// What is to be said of a food.
#[derive(Clone, Debug)]
pub struct NewFood {
    pub name: String,
    pub kcal_per_g: f64,
    pub source: String,
    pub note: String,
}

/// Something that a group is given each day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Portion<Of = Uuid> {
    pub at: NaiveTime,
    /// The food: by its identifier, or as somebody named it.
    pub food: Of,
    pub mass: Mass,
    pub method: Method,
    pub as_enrichment: bool,
    pub note: String,
}

/// A plan as somebody asks for it.
#[derive(Clone, Debug)]
pub struct NewPlan {
    pub group: String,
    /// Today where none.
    pub from: Option<NaiveDate>,
    pub portions: Vec<Portion<String>>,
    pub because: String,
}

/// What a group is given each day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    pub group: String,
    pub from: NaiveDate,
    /// By time of day, each with its energy in kcal.
    pub portions: Vec<(Portion<Food>, f64)>,
}

impl Plan {
    /// The portions with their foods, by time of day. A food that is on none of the lists is left out.
    #[must_use]
    pub fn new(group: String, from: NaiveDate, portions: Vec<Portion>, foods: &[Food]) -> Self {
        let mut portions: Vec<(Portion<Food>, f64)> = portions
            .into_iter()
            .filter_map(|Portion { at, food, mass, method, as_enrichment, note }| {
                let food = foods.iter().find(|known| known.id == food)?.clone();
                let kcal = food.kcal(mass);
                Some((Portion { at, food, mass, method, as_enrichment, note }, kcal))
            })
            .collect();
        portions.sort_by_key(|(portion, _)| portion.at);
        Self { group, from, portions }
    }

    /// Energy of it all, kcal a day.
    #[must_use]
    pub fn kcal(&self) -> f64 {
        self.portions.iter().map(|(_, kcal)| kcal).sum()
    }

    /// Energy of what is kept for enrichment, kcal a day.
    #[must_use]
    pub fn enrichment_kcal(&self) -> f64 {
        self.portions.iter().filter(|(portion, _)| portion.as_enrichment).map(|(_, kcal)| kcal).sum()
    }
}

/// To whom something was given, as somebody named them.
#[derive(Clone, Debug)]
pub enum To {
    Group(String),
    /// Alone.
    Animal(String),
}

/// Something that was given.
#[derive(Clone, Debug)]
pub struct NewFeed {
    pub to: To,
    pub food: String,
    pub given: Mass,
    /// Now where none.
    pub at: Option<DateTime<Utc>>,
    pub method: Method,
    pub as_enrichment: bool,
    pub left: Option<Mass>,
    pub lasted_minutes: Option<i32>,
    pub note: String,
}

/// What was left of something that was given.
#[derive(Clone, Copy, Debug)]
pub struct Leftovers {
    pub feed: Uuid,
    pub left: Mass,
    /// What was said before, where none.
    pub lasted_minutes: Option<i32>,
}

/// Something that was given, as it is on record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Feed {
    pub id: Uuid,
    pub site: String,
    /// Empty where an animal was fed alone.
    pub group: String,
    pub animal: Option<Label>,
    pub food: String,
    pub kcal_per_g: f64,
    pub given: Mass,
    pub given_at: DateTime<Utc>,
    pub given_on: NaiveDate,
    pub method: Method,
    pub as_enrichment: bool,
    pub left: Option<Mass>,
    pub lasted_minutes: Option<i32>,
    pub note: String,
    pub recorded_at: DateTime<Utc>,
}

impl Feed {
    /// Energy given, kcal.
    #[must_use]
    pub fn given_kcal(&self) -> f64 {
        self.given.grams() * self.kcal_per_g
    }

    /// Energy eaten, kcal; none where nobody has looked what was left.
    #[must_use]
    pub fn eaten_kcal(&self) -> Option<f64> {
        self.left.map(|left| (self.given.grams() - left.grams()) * self.kcal_per_g)
    }
}

/// What a member needs, kcal a day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MemberNeed {
    pub animal: Label,
    pub mass: Mass,
    pub weighed_on: NaiveDate,
    pub low: f64,
    pub high: f64,
    pub source: String,
}

/// Why the need of a member is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unknown {
    NeverWeighed,
    SpeciesNotDescribed,
}

/// What the members of a group need. Who is not counted is in no sum.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct GroupNeed {
    pub members: Vec<MemberNeed>,
    pub uncounted: Vec<(Label, Unknown)>,
}

/// A ration, kcal a day, beside the need.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Beside {
    pub kcal: f64,
    /// None where it cannot be told.
    pub verdict: Option<Verdict>,
}

impl GroupNeed {
    /// Lower and upper end of what the counted need together.
    #[must_use]
    pub fn sum(&self) -> (f64, f64) {
        let sum = |of: fn(&MemberNeed) -> f64| self.members.iter().map(of).sum();
        (sum(|member| member.low), sum(|member| member.high))
    }

    /// A ration beside it.
    #[must_use]
    pub fn beside(&self, kcal: f64) -> Beside {
        let verdict = match (self.members.is_empty(), self.uncounted.is_empty()) {
            (true, _) => None,
            (false, true) => Some(ration::compare(self.sum(), kcal)),
            (false, false) => ration::compare_known(self.sum(), kcal),
        };
        Beside { kcal, verdict }
    }
}

/// A plan that was set, beside what the members need.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Planned {
    pub plan: Plan,
    pub need: GroupNeed,
}

/// What one member was given alone on a day, kcal.
#[derive(Clone, Debug, PartialEq)]
pub struct Alone {
    pub animal: Label,
    pub given: f64,
    pub eaten: Option<f64>,
}

/// What a group, and members of it alone, were given on a day.
#[derive(Clone, Debug, PartialEq)]
pub struct FedDay {
    pub day: NaiveDate,
    /// kcal.
    pub given: f64,
    pub eaten: Option<f64>,
    pub enrichment: f64,
    pub feeds: usize,
    pub not_looked_at: usize,
    /// Offers of enrichment items that give energy; in all the sums.
    pub items: usize,
    pub alone: Vec<Alone>,
    pub weighed: Vec<(Label, Mass)>,
}

/// How a group is fed.
#[derive(Clone, Debug)]
pub struct Feeding {
    pub group: String,
    pub plan: Option<Plan>,
    pub need: GroupNeed,
    pub given: Option<Beside>,
    pub eaten: Option<Beside>,
    /// Oldest first.
    pub days: Vec<FedDay>,
    /// Of the day itself, oldest first.
    pub feeds: Vec<Feed>,
}
