//! What a group is to be given today, and what it was given, in a few lines.

use super::feed::Feed;
use super::need::Beside;
use super::plan::Plan;
use crate::output::Page;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// The feeds of a day.
#[derive(Serialize)]
pub(crate) struct Today {
    plan: Option<Plan>,
    ration: Option<Beside>,
    given: Vec<Feed>,
}

impl Today {
    pub(crate) fn new(answer: v1::GetFeedingResponse, zone: Tz) -> Self {
        Self {
            plan: answer.plan.map(Plan::from),
            ration: answer.planned.map(Beside::from),
            given: answer.feeds.into_iter().map(|feed| Feed::new(feed, zone)).collect(),
        }
    }

    pub(crate) fn page(&self, page: &mut Page) {
        let planned = self.plan.as_ref().map(Plan::lines).unwrap_or_default();
        if planned.is_empty() {
            page.line("No feed is planned.");
        } else {
            let ration = self.ration.as_ref().map(|ration| ration.spoken(page)).unwrap_or_default();
            page.line(&format!("Planned ({ration}):"));
            for line in planned {
                page.indented(&line, 2);
            }
        }
        if !self.given.is_empty() {
            page.line("Given today:");
        }
        for feed in &self.given {
            page.indented(&feed.line(), 2);
        }
    }
}
