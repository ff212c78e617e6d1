//! The page of a site: what an inspector asks of some days, on one file that needs nothing else.
//!
//! [`gather`] asks the calls that exist, all as known at one instant, so that the same question makes the same bytes at
//! any time; nothing here knows the time of day. Each part of the page is a file of its own and prints numbers that a call
//! answered: what no call answers is not on it.

mod animals;
mod checks;
mod clauses;
mod concerns;
mod gather;
mod groups;
mod layout;
mod moves;
mod seal;
mod stock;
mod summary;

pub(crate) use gather::{Question, gather};

use crate::chart::svg::STYLE as CHARTS;
use crate::failure::Failure;
use crate::session::Zones;
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::collections::BTreeMap;

const STYLE: &str = include_str!("page.css");

/// What the calls answered.
pub(crate) struct Contents {
    site: String,
    zones: Zones,
    zone: Tz,
    first: NaiveDate,
    last: NaiveDate,
    known_at: DateTime<Utc>,
    /// As it was at the close of the last day.
    day: v1::SiteDay,
    stock: v1::StockReturn,
    young_days: i32,
    /// The standards that were named, as they were.
    named: Vec<(String, i32)>,
    answers: Vec<v1::AnswerStandardResponse>,
    /// Animals held at the close of the last day.
    animals: Vec<v1::Animal>,
    groups: Vec<v1::GetGroupResponse>,
    /// By the animal's identifier, newest first.
    weights: BTreeMap<String, Vec<v1::Weight>>,
    courses: BTreeMap<String, v1::GetWelfareCourseResponse>,
    concerns: Vec<v1::Concern>,
    checks: v1::GetCheckCoverageResponse,
    /// The same of each month, or the part of it that is of these days.
    months: Vec<(NaiveDate, v1::GetCheckCoverageResponse)>,
    /// The newest seal by then; none where the reader may not see seals, or there is none yet.
    seal: Option<v1::Seal>,
    cautions: Vec<String>,
}

/// The parts of the page: where each stands, and what it is called.
const PARTS: [(&str, &str); 9] = [
    ("summary", "Summary"),
    ("clauses", "Clauses"),
    ("concerns", "Concerns"),
    ("checks", "Checks"),
    ("species", "Species and stock return"),
    ("groups", "Groups"),
    ("animals", "Animals"),
    ("transfers", "Transfers"),
    ("seal", "Seal and cautions"),
];

impl Contents {
    /// The page as one file.
    pub(crate) fn page(&self) -> Result<String, Failure> {
        let name = format!("{} ({})", self.day.name, self.site);
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (name) ", " (self.first) " to " (self.last) }
                    style { (PreEscaped(STYLE)) (PreEscaped(CHARTS)) }
                }
                body {
                    a.skip href="#summary" { "Skip to the summary" }
                    header { (self.head(&name)) }
                    nav aria-label="Parts of this page" {
                        ul { @for (id, title) in PARTS { li { a href={ "#" (id) } { (title) } } } }
                    }
                    main {
                        (layout::part("summary", "Summary", &summary::part(self)))
                        (layout::part("clauses", "Clauses", &clauses::part(self)))
                        (layout::part("concerns", "Concerns", &concerns::part(self)))
                        (layout::part("checks", "Checks", &checks::part(self)))
                        (layout::part("species", "Species and stock return", &stock::part(self)))
                        (layout::part("groups", "Groups", &groups::part(self)))
                        (layout::part("animals", "Animals", &animals::part(self)?))
                        (layout::part("transfers", "Transfers", &moves::part(self)))
                        (layout::part("seal", "Seal and cautions", &seal::part(self)))
                    }
                }
            }
        };
        let mut text = page.into_string();
        text.push('\n');
        Ok(text)
    }

    fn head(&self, name: &str) -> Markup {
        html! {
            h1 { (name) }
            p { "Records and welfare from " (self.first) " to " (self.last) ", as they stood at the close of " (self.last) "." }
            dl.facts {
                @if !self.stock.licence.is_empty() { div { dt { "Licence" } dd { (self.stock.licence) } } }
                div { dt { "As known at" } dd { (layout::time(self.known_at, self.zone)) } }
                div { dt { "Days are those of" } dd { (self.zone.name()) } }
            }
        }
    }
}
