//! What a group is to be given.

use super::need::{Beside, Need};
use crate::output::{Answer, Page, Table};
use crate::views::{CHECKED_ONLY, day, some, spoken_mass, tenth};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// Something that a group is given each day.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Portion {
    time_of_day: String,
    food: String,
    mass_mg: i64,
    kcal: f64,
    how: &'static str,
    enrichment: bool,
    note: Option<String>,
}

/// What a group is given each day.
#[derive(Clone, Serialize)]
pub(crate) struct Plan {
    group: String,
    from: Option<String>,
    pub(super) kcal: f64,
    enrichment_kcal: f64,
    feeds: Vec<Portion>,
}

impl From<v1::FeedPlan> for Plan {
    fn from(plan: v1::FeedPlan) -> Self {
        let portions = plan.feeds.into_iter().map(|feed| Portion {
            how: feed.method().word(),
            time_of_day: feed.time_of_day,
            food: feed.food,
            mass_mg: feed.mass.map(|mass| mass.milligrams).unwrap_or_default(),
            kcal: tenth(feed.kcal),
            enrichment: feed.as_enrichment,
            note: some(feed.note),
        });
        Self {
            group: plan.group,
            from: day(plan.begins_on),
            kcal: tenth(plan.kcal),
            enrichment_kcal: tenth(plan.enrichment_kcal),
            feeds: portions.collect(),
        }
    }
}

impl Portion {
    fn how(&self) -> String {
        if self.enrichment { format!("{}, enrichment", self.how) } else { self.how.to_owned() }
    }

    fn food(&self) -> String {
        format!("{} {}", spoken_mass(self.mass_mg), self.food)
    }
}

impl Plan {
    /// A line each: `06:30  400 g Trout, bowl`.
    pub(crate) fn lines(&self) -> Vec<String> {
        let line = |one: &Portion| format!("{}  {}, {}", one.time_of_day, one.food(), one.how());
        self.feeds.iter().map(line).collect()
    }

    pub(super) fn page(&self, page: &mut Page) {
        let from = self.from.as_deref().unwrap_or_default();
        if self.feeds.is_empty() {
            page.line(&format!("Nothing is planned for {} from {from} on.", self.group));
            return;
        }
        page.line(&format!("Plan of {} from {from} on:", self.group));
        let mut table = Table::new(["At", "What", "kcal", "How", "Note"]).numbers([2]);
        for portion in &self.feeds {
            table.row([
                portion.time_of_day.clone(),
                portion.food(),
                format!("{:.0}", portion.kcal),
                portion.how(),
                portion.note.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
        if self.enrichment_kcal > 0.0 {
            page.line(&format!("{:.0} kcal of it are kept for enrichment.", self.enrichment_kcal));
        }
    }
}

/// A plan that was set, or tried.
#[derive(Serialize)]
pub(crate) struct Planned {
    #[serde(flatten)]
    plan: Plan,
    need: Need,
    planned: Beside,
    #[serde(skip)]
    checked_only: bool,
}

impl Planned {
    pub(crate) fn new(answer: v1::SetFeedPlanResponse, checked_only: bool) -> Self {
        Self {
            plan: answer.plan.unwrap_or_default().into(),
            need: answer.need.unwrap_or_default().into(),
            planned: answer.planned.unwrap_or_default().into(),
            checked_only,
        }
    }

    pub(crate) fn fits(&self) -> bool {
        self.planned.fits()
    }
}

impl Answer for Planned {
    type Row = Portion;

    fn rows(&self) -> Vec<Portion> {
        self.plan.feeds.clone()
    }

    fn page(&self, page: &mut Page) {
        if self.checked_only {
            page.line(CHECKED_ONLY);
        }
        self.plan.page(page);
        self.need.page(page);
        if !self.plan.feeds.is_empty() {
            let spoken = self.planned.spoken(page);
            page.line(&format!("Planned: {spoken}."));
        }
        page.remark(
            "Holt calculates the need from weight alone; for one animal it can be wrong by a third. Judge a \
             ration by the weights that follow it.",
        );
    }
}
