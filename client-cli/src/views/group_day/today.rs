//! What the day asks for, beside checks: feeds, enrichment, and what the public may still ask of the animals.

use crate::output::{Page, Tone};
use crate::views::feeding::Today as Feeds;
use crate::views::{instant, written};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// So many items are named of those that were not offered for longest.
const LONGEST: usize = 3;

/// An item that may be offered today.
#[derive(Serialize)]
struct Item {
    name: String,
    /// None where it was not offered in the last half year.
    days_since: Option<i32>,
}

/// What was offered today.
#[derive(Serialize)]
struct Offered {
    item: String,
    given_at: Option<String>,
    #[serde(skip)]
    at: Option<DateTime<Utc>>,
}

/// What is left of an animal's limits.
#[derive(Serialize)]
struct Allowance {
    accession: String,
    house_name: Option<String>,
    may_meet: bool,
    minutes_left: Option<i32>,
    encounters_left: Option<i32>,
    rests_until: Option<String>,
    #[serde(skip)]
    until: Option<DateTime<Utc>>,
}

/// What is planned for a group today, and what was done of it.
#[derive(Serialize)]
pub(crate) struct Today {
    feeding: Feeds,
    offered: Vec<Offered>,
    /// Those that were not offered for longest first.
    may_be_offered: Vec<Item>,
    /// Of those that have limits.
    encounters: Vec<Allowance>,
    #[serde(skip)]
    zone: Tz,
}

impl Today {
    pub(crate) fn new(
        feeding: v1::GetFeedingResponse,
        enrichment: v1::GetEnrichmentResponse,
        encounters: v1::ListEncounterAllowancesResponse,
        zone: Tz,
    ) -> Self {
        let offered = enrichment.offers.into_iter().map(|offer| Offered {
            given_at: written(offer.given_at, zone),
            at: instant(offer.given_at),
            item: offer.item,
        });
        let free = enrichment.items.into_iter().filter(|one| one.objections.is_empty());
        let items = free.map(|one| Item {
            name: one.item.map(|item| item.name).unwrap_or_default(),
            days_since: one.days_since,
        });
        let limited = encounters.allowances.into_iter().filter(|one| one.limits.is_some());
        let allowances = limited.map(|one| {
            let animal = one.animal.unwrap_or_default();
            Allowance {
                accession: animal.accession,
                house_name: Some(animal.house_name).filter(|name| !name.is_empty()),
                may_meet: one.may_meet,
                minutes_left: one.minutes_left,
                encounters_left: one.encounters_left,
                rests_until: written(one.rests_until_at, zone),
                until: instant(one.rests_until_at),
            }
        });
        Self {
            feeding: Feeds::new(feeding, zone),
            offered: offered.collect(),
            may_be_offered: items.collect(),
            encounters: allowances.collect(),
            zone,
        }
    }

    fn time(&self, at: Option<DateTime<Utc>>) -> String {
        at.map(|at| at.with_timezone(&self.zone).format("%H:%M").to_string()).unwrap_or_default()
    }

    pub(super) fn page(&self, page: &mut Page) {
        self.feeding.page(page);
        if !self.offered.is_empty() {
            let each = self.offered.iter().map(|one| format!("{} {}", self.time(one.at), one.item));
            page.hanging(&format!("Enrichment today: {}", each.collect::<Vec<_>>().join(", ")), 2);
        }
        if !self.may_be_offered.is_empty() {
            let each = self.may_be_offered.iter().take(LONGEST).map(|item| match item.days_since {
                Some(days) => format!("{} ({days} d)", item.name),
                None => format!("{} (not recently)", item.name),
            });
            page.hanging(&format!("Not offered for longest: {}", each.collect::<Vec<_>>().join(", ")), 2);
        }
        for allowance in &self.encounters {
            let line = self.allowance(allowance, page);
            page.hanging(&line, 2);
        }
    }

    /// `Public: Bramble 20 min, 1 encounter left`.
    fn allowance(&self, one: &Allowance, page: &Page) -> String {
        let name = one.house_name.as_ref().unwrap_or(&one.accession);
        if !one.may_meet {
            return format!("Public: {name}, {}", page.paint(Tone::Warning, "no encounters today"));
        }
        let minutes = one.minutes_left.map(|minutes| format!("{minutes} min"));
        let encounters = one.encounters_left.map(|n| match n {
            1 => "1 encounter".to_owned(),
            n => format!("{n} encounters"),
        });
        let left: Vec<String> = minutes.into_iter().chain(encounters).collect();
        let left = if left.is_empty() { String::new() } else { format!(" {} remaining", left.join(", ")) };
        let rest = one.until.map(|until| format!("; rests until {}", self.time(Some(until))));
        format!("Public: {name}{left}{}", rest.unwrap_or_default())
    }
}
