//! Evidence that comes out once: moves, deaths, concerns, the stock return.

use super::{Body, Inquiry, key};
use crate::model::page::Page;
use crate::model::standard::SubjectKind;
use crate::records::error::Result;
use crate::records::transfers::missing;
use crate::report::stock_return::{self, Question, USUAL_YOUNG_DAYS};
use crate::store::evidence::{self, Died};
use crate::store::transfers::{self, Wanted};
use chrono::TimeDelta;
use holt_audit::compliance::Shows;
use holt_audit::standard::Clause;

/// Transfers that are read in one statement.
const AT_ONCE: u32 = 1000;

/// What is missing of how animals died.
fn unexplained(died: &Died) -> Vec<String> {
    let mut wrong = Vec::new();
    if died.manner == "unknown" && !died.has_result {
        wrong.push("its manner of death is not known".to_owned());
    }
    if died.post_mortem == "asked_for" {
        wrong.push("the post-mortem that was asked for has no result".to_owned());
    }
    if died.post_mortem == "done" && !died.has_result {
        wrong.push("a post-mortem was done, and its result is not recorded".to_owned());
    }
    wrong
}

impl Inquiry<'_> {
    /// Moves with a step in the days that are asked about, as they stood at the end of them.
    pub(super) async fn moved(&self) -> Result<Body> {
        let wanted = Wanted {
            site: Some(self.permit.site().id),
            between: Some((self.during.from, self.during.until)),
            ..Wanted::default()
        };
        let mut body = Body::default();
        let mut page = Page { size: AT_ONCE, after: None };
        loop {
            let some = transfers::list(self.snapshot, &wanted, &page).await?;
            for transfer in some.entries {
                let day =
                    transfer.steps.last().map_or(self.period.last, |step| self.day_of(step.happened_at));
                let animal = if transfer.house_name.is_empty() {
                    transfer.from_accession.clone()
                } else {
                    format!("{} ({})", transfer.house_name, transfer.from_accession)
                };
                let name = format!("{animal}, {} to {}", transfer.from_site, transfer.to_site);
                let key = key(SubjectKind::Transfer, transfer.id);
                body.outcome(key, name, day, &missing(&transfer), Some(transfer.id));
            }
            let Some(next) = some.next else { return Ok(body) };
            page.after = Some(next);
        }
    }

    pub(super) async fn died(&self) -> Result<Body> {
        let mut body = Body::default();
        for died in evidence::deaths(self.snapshot, self.permit, self.during).await? {
            let (key, name) = match &died.animal {
                Some(animal) => (key(SubjectKind::Animal, animal.id), animal.spoken()),
                None => (key(SubjectKind::Litter, died.record), format!("{} in a litter", died.number)),
            };
            body.outcome(key, name, died.died_on, &unexplained(&died), Some(died.record));
        }
        Ok(body)
    }

    /// Concerns that were raised in the days that are asked about. One whose time to be answered is not over,
    /// and that nobody answered yet, is left out.
    pub(super) async fn answered(&self, clause: &Clause) -> Result<Body> {
        let days = i64::from(clause.within_days.unwrap_or_default());
        let mut body = Body::default();
        for concern in evidence::concerns(self.snapshot, self.permit, self.during).await? {
            let deadline = concern.raised_at + TimeDelta::days(days);
            let wrong = match concern.answered_at {
                Some(at) if at <= deadline => Vec::new(),
                None if deadline > self.known_at => continue,
                Some(at) => {
                    let took = (at - concern.raised_at).num_days();
                    vec![format!("answered after {took} days, within {days} wanted")]
                }
                None => {
                    let open = (self.known_at - concern.raised_at).num_days();
                    vec![format!("not answered for {open} days, within {days} wanted")]
                }
            };
            let (key, day) = (key(SubjectKind::Concern, concern.id), self.day_of(concern.raised_at));
            body.outcome(key, concern.about, day, &wrong, Some(concern.id));
        }
        Ok(body)
    }

    pub(super) async fn balanced(&self) -> Result<Body> {
        let site = self.permit.site();
        let question = Question {
            site: site.code.clone(),
            first: self.period.first,
            last: self.period.last,
            young_days: USUAL_YOUNG_DAYS,
            together: false,
            known_at: Some(self.known_at),
        };
        let told = stock_return::of_site(self.snapshot, self.permit, &question).await?;
        let mut body = Body::default();
        if told.lines.is_empty() {
            return Ok(body);
        }
        let key = key(SubjectKind::Site, site.id);
        body.subject(key, site.code.clone(), self.period.first, None);
        let odd: Vec<&str> = told
            .lines
            .iter()
            .filter(|(_, line)| !line.balances())
            .map(|(taxon, _)| taxon.scientific_name.as_str())
            .collect();
        let shows = if odd.is_empty() {
            Shows::Met
        } else {
            Shows::Short(format!("the stock return does not add up for {}", odd.join(", ")))
        };
        body.shows(key, self.period.last, shows, None);
        Ok(body)
    }
}
