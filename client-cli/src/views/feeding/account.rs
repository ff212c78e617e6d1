//! How a group is fed.

use super::feed::Feed;
use super::need::{Beside, Need};
use super::plan::Plan;
use crate::output::{Answer, Page, Table};
use crate::views::{day, some, spoken, spoken_mass, tenth};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// What a member was given alone on a day.
#[derive(Clone, Serialize)]
struct Alone {
    accession: String,
    house_name: Option<String>,
    given_kcal: f64,
    eaten_kcal: Option<f64>,
}

/// What a member weighed on a day.
#[derive(Clone, Serialize)]
struct Weighed {
    accession: String,
    house_name: Option<String>,
    mass_mg: i64,
}

/// What was given on a day.
#[derive(Clone, Serialize)]
struct FedDay {
    day: Option<String>,
    /// None where nothing is on record.
    given_kcal: Option<f64>,
    eaten_kcal: Option<f64>,
    enrichment_kcal: Option<f64>,
    feeds: i32,
    not_looked_at: i32,
    /// Offers of enrichment items that give energy; in the sums.
    items: i32,
    alone: Vec<Alone>,
    weighed: Vec<Weighed>,
}

/// A day as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    group: String,
    day: Option<String>,
    planned_kcal: Option<f64>,
    need_low_kcal: f64,
    need_high_kcal: f64,
    given_kcal: Option<f64>,
    eaten_kcal: Option<f64>,
    enrichment_kcal: Option<f64>,
    feeds: i32,
    not_looked_at: i32,
    /// Offers of enrichment items that give energy; in the sums.
    items: i32,
    alone: String,
    weighed: String,
}

/// How a group is fed.
#[derive(Serialize)]
pub(crate) struct Feeding {
    group: String,
    plan: Option<Plan>,
    need: Need,
    planned: Option<Beside>,
    given: Option<Beside>,
    eaten: Option<Beside>,
    days: Vec<FedDay>,
    feeds: Vec<Feed>,
    caution: String,
}

impl From<v1::FedDay> for FedDay {
    fn from(told: v1::FedDay) -> Self {
        let alone = told.alone.into_iter().map(|alone| {
            let animal = alone.animal.unwrap_or_default();
            Alone {
                accession: animal.accession,
                house_name: some(animal.house_name),
                given_kcal: tenth(alone.given_kcal),
                eaten_kcal: alone.eaten_kcal.map(tenth),
            }
        });
        let weighed = told.weighed.into_iter().map(|weighed| {
            let animal = weighed.animal.unwrap_or_default();
            Weighed {
                accession: animal.accession,
                house_name: some(animal.house_name),
                mass_mg: weighed.mass.map(|mass| mass.milligrams).unwrap_or_default(),
            }
        });
        Self {
            day: day(told.fed_on),
            given_kcal: (told.feeds + told.items > 0).then(|| tenth(told.given_kcal)),
            eaten_kcal: told.eaten_kcal.map(tenth),
            enrichment_kcal: (told.feeds + told.items > 0).then(|| tenth(told.enrichment_kcal)),
            feeds: told.feeds,
            not_looked_at: told.not_looked_at,
            items: told.items,
            alone: alone.collect(),
            weighed: weighed.collect(),
        }
    }
}

impl FedDay {
    fn alone(&self) -> String {
        let each = self.alone.iter().map(|alone| {
            format!("{} {:.0}", spoken(alone.house_name.as_deref(), &alone.accession), alone.given_kcal)
        });
        each.collect::<Vec<_>>().join("; ")
    }

    fn weighed(&self) -> String {
        let each = self.weighed.iter().map(|weighed| {
            let name = weighed.house_name.as_deref().unwrap_or(&weighed.accession);
            format!("{name} {}", spoken_mass(weighed.mass_mg))
        });
        each.collect::<Vec<_>>().join("; ")
    }

    fn eaten(&self) -> String {
        match (self.eaten_kcal, self.feeds + self.items) {
            (Some(kcal), _) => format!("{kcal:.0}"),
            (None, 0) => String::new(),
            (None, _) => "?".to_owned(),
        }
    }
}

impl Feeding {
    pub(crate) fn new(answer: v1::GetFeedingResponse, zone: Tz) -> Self {
        Self {
            group: answer.group,
            plan: answer.plan.map(Plan::from),
            need: answer.need.unwrap_or_default().into(),
            planned: answer.planned.map(Beside::from),
            given: answer.given.map(Beside::from),
            eaten: answer.eaten.map(Beside::from),
            days: answer.days.into_iter().map(FedDay::from).collect(),
            feeds: answer.feeds.into_iter().map(|feed| Feed::new(feed, zone)).collect(),
            caution: answer.caution,
        }
    }

    pub(crate) fn fits(&self) -> bool {
        self.planned.as_ref().is_some_and(Beside::fits)
    }

    fn today(&self, page: &mut Page) {
        page.gap();
        if self.feeds.is_empty() {
            page.line("Nothing was recorded as given on the day.");
            return;
        }
        let mut table = Table::new(["Given", "To", "What", "How", "Leftovers", "Lasted", "Id"]);
        for feed in &self.feeds {
            table.row([
                feed.time(),
                feed.to(),
                feed.food(),
                feed.how(),
                feed.left(),
                feed.lasted(),
                feed.short_id(),
            ]);
        }
        page.table(&table);
    }

    fn days(&self, page: &mut Page) {
        page.gap();
        let heads = ["Day", "Given kcal", "Eaten", "Enrichment", "Own kcal", "Weighed"];
        let mut table = Table::new(heads).numbers([1, 2, 3]);
        let told = |day: &&FedDay| day.given_kcal.is_some() || !day.weighed.is_empty();
        for day in self.days.iter().filter(told) {
            let number = |kcal: Option<f64>| kcal.map(|kcal| format!("{kcal:.0}")).unwrap_or_default();
            table.row([
                day.day.clone().unwrap_or_default(),
                number(day.given_kcal),
                day.eaten(),
                number(day.enrichment_kcal),
                day.alone(),
                day.weighed(),
            ]);
        }
        if self.days.iter().any(|day| told(&day)) {
            page.table(&table);
        }
    }
}

impl Answer for Feeding {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let row = |day: &FedDay| Row {
            group: self.group.clone(),
            day: day.day.clone(),
            planned_kcal: self.plan.as_ref().map(|plan| plan.kcal),
            need_low_kcal: self.need.low_kcal,
            need_high_kcal: self.need.high_kcal,
            given_kcal: day.given_kcal,
            eaten_kcal: day.eaten_kcal,
            enrichment_kcal: day.enrichment_kcal,
            feeds: day.feeds,
            not_looked_at: day.not_looked_at,
            items: day.items,
            alone: day.alone(),
            weighed: day.weighed(),
        };
        self.days.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        match &self.plan {
            Some(plan) => plan.page(page),
            None => page.line(&format!("{} has no plan on the day.", self.group)),
        }
        self.today(page);
        self.days(page);
        page.gap();
        self.need.page(page);
        for (what, beside) in [
            ("Planned", &self.planned),
            ("Given on an average day", &self.given),
            ("Eaten on an average day", &self.eaten),
        ] {
            if let Some(beside) = beside {
                let spoken = beside.spoken(page);
                page.line(&format!("{what}: {spoken}."));
            }
        }
        let sources = self.need.sources();
        if !sources.is_empty() {
            page.line(&format!("Sources of the needs: {sources}."));
        }
        page.remark(&self.caution);
    }
}
