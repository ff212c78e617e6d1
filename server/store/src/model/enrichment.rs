//! Enrichment: items, what was offered to whom, and how it was met.

use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::diversity::Diversity;
use holt_audit::enrichment::plan::Why;
use holt_audit::enrichment::wear::Wear;
use holt_audit::enrichment::{self as audit, Kind};
use holt_audit::standing::rates::Share;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use uuid::Uuid;

/// What is said of an item; species by their identifiers, or as somebody named them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Content<Species = Uuid> {
    pub staff_minutes: u32,
    pub rest_days: u32,
    pub hazards: BTreeSet<String>,
    pub not_for: Vec<Species>,
    /// Energy of one offering.
    pub kcal: Option<f64>,
    pub note: String,
}

/// An item as somebody asks for it.
#[derive(Clone, Debug)]
pub struct NewItem {
    pub name: String,
    pub kind: Kind,
    pub content: Content<String>,
    pub out_of_use: bool,
}

/// An item; species that it is not for with their names.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Item {
    pub id: Uuid,
    pub name: String,
    pub kind: Kind,
    pub content: Content<(Uuid, String)>,
    pub out_of_use: bool,
}

impl Item {
    /// As the audit module takes it. Energy is rounded up, so that a rota never gives more than is kept.
    #[must_use]
    pub fn offered(&self) -> audit::Item<Uuid, Uuid> {
        audit::Item {
            item: self.id,
            kind: self.kind,
            minutes: self.content.staff_minutes,
            hazards: self.content.hazards.clone(),
            not_for: self.content.not_for.iter().map(|(species, _)| *species).collect(),
            kcal: self.content.kcal.map_or(0, |kcal| whole(kcal.ceil())),
            rest_days: self.content.rest_days,
        }
    }
}

/// A number of kilocalories without its fraction.
#[must_use]
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to what it holds")]
pub fn whole(kcal: f64) -> u32 {
    kcal.clamp(0.0, f64::from(u32::MAX)) as u32
}

/// What holds for a group.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Terms {
    pub refused_hazards: BTreeSet<String>,
    pub offers_a_day: u32,
}

impl Default for Terms {
    fn default() -> Self {
        Self { refused_hazards: BTreeSet::new(), offers_a_day: 1 }
    }
}

/// How something was met, by the animal that did most.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Response {
    Avoided,
    Ignored,
    Inspected,
    Used,
}

impl Response {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Avoided => "avoided",
            Self::Ignored => "ignored",
            Self::Inspected => "inspected",
            Self::Used => "used",
        }
    }
}

/// How something was met, and for how long it was used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Met {
    /// None where nobody looked.
    pub response: Option<Response>,
    /// None where nobody timed it.
    pub used_minutes: Option<i32>,
}

impl Met {
    /// Whether any of them used it; none where nobody looked.
    #[must_use]
    pub fn used(self) -> Option<bool> {
        self.response.map(|response| response == Response::Used)
    }

    /// Minutes of use; what was not used was used for none.
    #[must_use]
    pub fn minutes(self) -> Option<f64> {
        match (self.used(), self.used_minutes) {
            (Some(false), _) => Some(0.0),
            (_, minutes) => minutes.map(f64::from),
        }
    }
}

/// To whom something was offered, as somebody named them.
#[derive(Clone, Debug)]
pub enum To {
    Group(String),
    /// To all who live there.
    Enclosure(String),
}

/// Something that was offered.
#[derive(Clone, Debug)]
pub struct NewOffer {
    pub to: To,
    pub item: String,
    /// Now where none.
    pub at: Option<DateTime<Utc>>,
    pub met: Met,
    pub note: String,
}

/// Something that was offered, as it is on record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Offer {
    pub id: Uuid,
    pub site: String,
    /// Empty where it was offered in an enclosure.
    pub group: String,
    /// Empty where it was offered to a group.
    pub enclosure: String,
    pub item: Uuid,
    pub item_name: String,
    pub kind: Kind,
    pub kcal: Option<f64>,
    pub given_at: DateTime<Utc>,
    pub given_on: NaiveDate,
    pub met: Met,
    pub note: String,
    pub recorded_at: DateTime<Utc>,
}

impl Offer {
    /// Energy of it that was taken: all where it was used, nothing where it was not, and not known where nobody
    /// looked.
    #[must_use]
    pub fn eaten_kcal(&self) -> Option<f64> {
        let kcal = self.kcal.unwrap_or_default();
        self.met.used().map(|used| if used { kcal } else { 0.0 })
    }
}

/// What speaks against an offer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Objection {
    /// These hazards are not taken with the group.
    Hazard(Vec<String>),
    /// It is not for these species among them.
    Species(Vec<String>),
    /// Offered last on this day, with so many days of rest to follow.
    TooSoon(NaiveDate, u32),
    OutOfUse,
}

/// An animal's company, as far as an item must suit it.
#[derive(Clone, Debug, Default)]
pub struct Company {
    pub species: BTreeSet<Uuid>,
    pub terms: Terms,
}

impl Item {
    /// What speaks against offering it on a day to a company that was offered it on these days.
    #[must_use]
    pub fn objections(&self, to: &Company, offered: &[NaiveDate], on: NaiveDate) -> Vec<Objection> {
        let hazards: Vec<String> =
            self.content.hazards.intersection(&to.terms.refused_hazards).cloned().collect();
        let species = self.content.not_for.iter().filter(|(species, _)| to.species.contains(species));
        let species: Vec<String> = species.map(|(_, name)| name.clone()).collect();
        let rest = i64::from(self.content.rest_days);
        let lately = offered.iter().copied().filter(|day| *day <= on && (on - *day).num_days() <= rest).max();
        [
            (!hazards.is_empty()).then_some(Objection::Hazard(hazards)),
            (!species.is_empty()).then_some(Objection::Species(species)),
            lately.map(|day| Objection::TooSoon(day, self.content.rest_days)),
            self.out_of_use.then_some(Objection::OutOfUse),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

/// What was recorded, and what of it should not have been offered, by its place in the request.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recorded {
    pub offers: Vec<Offer>,
    pub warnings: Vec<(usize, Objection)>,
}

/// Offers of each kind, and how varied they are.
#[derive(Clone, Debug, PartialEq)]
pub struct Variety {
    pub kinds: Vec<(Kind, u32)>,
    pub told: Diversity,
}

/// How an item stands with a group.
#[derive(Clone, Debug)]
pub struct Standing {
    pub item: Item,
    pub days_since: Option<i64>,
    /// Offers that somebody looked at, and the share of them in which it was used.
    pub looked_at: usize,
    pub taken_up: Option<Share>,
    pub wear: Wear,
    pub objections: Vec<Objection>,
}

/// What a group was offered.
#[derive(Clone, Debug)]
pub struct Account {
    pub group: String,
    pub terms: Terms,
    pub variety: Option<Variety>,
    /// Not offered for longest first.
    pub items: Vec<Standing>,
    /// Newest first.
    pub offers: Vec<Offer>,
}

/// One thing to offer.
#[derive(Clone, Debug)]
pub struct Slot {
    pub on: NaiveDate,
    pub group: String,
    pub item: Item,
}

/// A group in a rota.
#[derive(Clone, Debug)]
pub struct GroupRota {
    pub group: String,
    pub variety: Option<Variety>,
    pub kept_kcal: f64,
}

/// A rota.
#[derive(Clone, Debug)]
pub struct Rota {
    pub slots: Vec<Slot>,
    pub unfilled: Vec<(NaiveDate, String, Why)>,
    pub groups: Vec<GroupRota>,
}
