//! How varied what a group was offered is, and how each item stands.

use super::offer::Offer;
use super::{Item, Terms, Variety};
use crate::output::{Answer, Page, Table, Tone};
use crate::views::{Thing, tenth};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// How interest wears off.
#[derive(Clone, Serialize)]
struct Wear {
    percent: f64,
    low_percent: f64,
    high_percent: f64,
}

/// How an item stands with a group.
#[derive(Clone, Serialize)]
struct Standing {
    #[serde(flatten)]
    item: Item,
    offers: i32,
    days_since: Option<i32>,
    looked_at: i32,
    taken_up: Option<f64>,
    taken_up_low: Option<f64>,
    taken_up_high: Option<f64>,
    wear: Option<Wear>,
    worn: bool,
    objections: Vec<&'static str>,
}

/// The same as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    group: String,
    item: String,
    kind: &'static str,
    offers: i32,
    days_since: Option<i32>,
    looked_at: i32,
    taken_up: Option<f64>,
    taken_up_low: Option<f64>,
    taken_up_high: Option<f64>,
    wear_percent: Option<f64>,
    worn: bool,
    objections: String,
}

/// What a group was offered.
#[derive(Serialize)]
pub(crate) struct Account {
    #[serde(flatten)]
    terms: Terms,
    days: i32,
    variety: Option<Variety>,
    items: Vec<Standing>,
    offers: Vec<Offer>,
}

impl From<v1::EnrichmentStanding> for Standing {
    fn from(told: v1::EnrichmentStanding) -> Self {
        let round = |value: f64| (value * 1000.0).round() / 1000.0;
        let ends = |end: f64| told.taken_up.map(|_| round(end));
        Self {
            objections: told.objections().map(Word::word).collect(),
            offers: told.offers,
            days_since: told.days_since,
            looked_at: told.looked_at,
            taken_up: told.taken_up.map(round),
            taken_up_low: ends(told.taken_up_low),
            taken_up_high: ends(told.taken_up_high),
            wear: told.wear.map(|wear| Wear {
                percent: tenth(wear.percent),
                low_percent: tenth(wear.low_percent),
                high_percent: tenth(wear.high_percent),
            }),
            worn: told.worn,
            item: told.item.unwrap_or_default().into(),
        }
    }
}

impl Standing {
    fn taken_up(&self) -> String {
        match self.taken_up {
            None => String::new(),
            Some(share) => format!("{:.0} % of {}", share * 100.0, self.looked_at),
        }
    }

    /// What speaks against it, for people.
    fn against(&self) -> String {
        let each = self.objections.iter().map(|objection| match *objection {
            "species" => "not for them".to_owned(),
            other => other.replace('-', " "),
        });
        each.collect::<Vec<_>>().join(", ")
    }

    fn wear(&self) -> String {
        match &self.wear {
            None => String::new(),
            Some(wear) => {
                let (low, high) = (wear.low_percent, wear.high_percent);
                format!(
                    "{:+.0} % ({low:+.0} to {high:+.0}){}",
                    wear.percent,
                    if self.worn { ", worn" } else { "" }
                )
            }
        }
    }
}

impl Account {
    pub(crate) fn new(answer: v1::GetEnrichmentResponse, days: i32, zone: Tz) -> Self {
        Self {
            terms: answer.terms.unwrap_or_default().into(),
            days,
            variety: answer.variety.map(Variety::from),
            items: answer.items.into_iter().map(Standing::from).collect(),
            offers: answer.offers.into_iter().map(|offer| Offer::new(offer, zone)).collect(),
        }
    }
}

impl Answer for Account {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let row = |told: &Standing| Row {
            group: self.terms.group.clone(),
            item: told.item.name.clone(),
            kind: told.item.kind,
            offers: told.offers,
            days_since: told.days_since,
            looked_at: told.looked_at,
            taken_up: told.taken_up,
            taken_up_low: told.taken_up_low,
            taken_up_high: told.taken_up_high,
            wear_percent: told.wear.as_ref().map(|wear| wear.percent),
            worn: told.worn,
            objections: told.objections.join("; "),
        };
        self.items.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        page.line(&self.terms.spoken());
        match &self.variety {
            Some(variety) => page.line(&format!("Last {} days: {}.", self.days, variety.spoken())),
            None => page.line(&format!("Nothing was offered in the last {} days.", self.days)),
        }
        page.gap();
        if self.items.is_empty() {
            page.line("No items. Add one: `holt enrich item`.");
        } else {
            let heads = ["Item", "Kind", "Last", "Offers", "Used", "Change of use", "Not now"];
            let mut table = Table::new(heads).numbers([2, 3]);
            for told in &self.items {
                let tone = if told.worn { Tone::Warning } else { Tone::Calm };
                table.toned([
                    (Tone::Calm, told.item.name.clone()),
                    (Tone::Calm, told.item.kind.to_owned()),
                    (
                        Tone::Calm,
                        told.days_since.map_or_else(|| "never".to_owned(), |days| format!("{days} d")),
                    ),
                    (Tone::Calm, told.offers.to_string()),
                    (Tone::Calm, told.taken_up()),
                    (tone, told.wear()),
                    (Tone::Calm, told.against()),
                ]);
            }
            page.table(&table);
        }
        if !self.offers.is_empty() {
            page.gap();
            Offer::table(&self.offers, page);
        }
        page.remark("Holt counts offers and use over half a year. Offered is not used.");
    }
}
