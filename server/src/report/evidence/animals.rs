//! Evidence about animals while they are at a site: marks, weights, assessments, checks, diets.

use super::states::{Stretch, pieces};
use super::{Body, Inquiry, key};
use crate::model::check::Duty;
use crate::model::standard::{Key, SubjectKind};
use crate::records::error::Result;
use crate::store::animals::Stay;
use crate::store::evidence;
use chrono::NaiveDate;
use holt_audit::compliance::Shows;
use holt_audit::schedule::{Due, State};
use holt_audit::standard::Clause;
use holt_audit::terms::Span;
use std::collections::HashMap;
use uuid::Uuid;

const fn done_word(duty: Duty) -> &'static str {
    match duty {
        Duty::Weigh | Duty::WeighAgain => "weighing",
        Duty::Assess => "assessment",
        Duty::EndLoan => "end of the loan",
    }
}

impl Inquiry<'_> {
    /// The stays that a clause counts, with their place among all: those that reach into the days that are asked about,
    /// and have lasted long enough. A stay that ended on the first day is over.
    fn stays(&self, clause: &Clause) -> impl Iterator<Item = (usize, &Stay)> {
        let (period, min_days) = (self.period, i64::from(clause.min_days));
        self.duties.stays().iter().enumerate().filter(move |(_, stay)| {
            let last = stay.ended_on.map_or(period.last, |ended| ended.min(period.last));
            let is_over = stay.ended_on.is_some_and(|ended| {
                ended < period.first || (ended == period.first && stay.began_on < ended)
            });
            !is_over && stay.began_on <= period.last && (last - stay.began_on).num_days() >= min_days
        })
    }

    /// The days of a stay that are asked about.
    fn days_of(&self, stay: &Stay) -> (NaiveDate, NaiveDate) {
        let last = stay.ended_on.map_or(self.period.last, |ended| ended.min(self.period.last));
        (stay.began_on.max(self.period.first), last)
    }

    fn animals(&self, clause: &Clause) -> Body {
        let mut body = Body::default();
        for (_, stay) in self.stays(clause) {
            body.subject(of(stay), stay.animal.spoken(), stay.began_on, stay.ended_on);
        }
        body
    }

    fn done(&self, clause: &Clause, duty: Duty) -> Body {
        let mut body = self.animals(clause);
        let animals: Vec<Uuid> = body.names.keys().map(|key| key.id).collect();
        for animal in animals {
            for (day, record) in self.duties.acts(animal, duty) {
                body.shows(key(SubjectKind::Animal, animal), day, Shows::Met, Some(record));
            }
        }
        body
    }

    pub(super) fn weighed(&self, clause: &Clause) -> Body {
        self.done(clause, Duty::Weigh)
    }

    pub(super) fn assessed(&self, clause: &Clause) -> Body {
        self.done(clause, Duty::Assess)
    }

    /// Due days of checks. An animal of which no day fell due is left out; one for which there is no check is not.
    pub(super) fn checked(&self, clause: &Clause) -> Result<Body> {
        let span = Span { from: self.period.first, until: self.period.last.succ_opt() };
        let dues = self.duties.of_stays(span)?;
        let mut body = Body::default();
        for (place, stay) in self.stays(clause) {
            let judged: Option<Vec<_>> = dues[place].as_ref().map(|dues| {
                dues.iter().filter_map(|(check, due)| Some((check, due, judged(due, check.duty)?))).collect()
            });
            if judged.as_ref().is_some_and(Vec::is_empty) {
                continue;
            }
            body.subject(of(stay), stay.animal.spoken(), stay.began_on, stay.ended_on);
            for (check, due, shows) in judged.into_iter().flatten() {
                let record = match due.state {
                    State::InTime(done) | State::Late { done, .. } => Uuid::from_u128(done.record.0),
                    _ => check.id,
                };
                body.shows(of(stay), due.day, shows, Some(record));
            }
        }
        Ok(body)
    }

    pub(super) async fn identified(&self, clause: &Clause) -> Result<Body> {
        let body = self.animals(clause);
        let animals: Vec<Uuid> = body.names.keys().map(|key| key.id).collect();
        let mut marks: HashMap<Uuid, Vec<Stretch>> = HashMap::new();
        for mark in evidence::marks(self.snapshot, &animals, self.during).await? {
            marks.entry(mark.about).or_default().push(Stretch {
                from: self.day_of(mark.began_at),
                last: mark.ended_at.map(|at| self.day_of(at)),
                record: mark.record,
            });
        }
        Ok(self.going_on(body, clause, &marks, "mark"))
    }

    pub(super) async fn fed(&self, clause: &Clause) -> Result<Body> {
        let body = self.animals(clause);
        let mut diets: HashMap<Uuid, Vec<Stretch>> = HashMap::new();
        for fed in evidence::diets(self.snapshot, self.permit, self.during).await? {
            let left = fed.ended_at.map(|at| self.day_of(at));
            let replaced = fed.replaced_on.and_then(|day| day.pred_opt());
            let from = self.day_of(fed.began_at).max(fed.begins_on);
            let last = left.into_iter().chain(replaced).min();
            if last.is_none_or(|last| from <= last) {
                diets.entry(fed.animal_id).or_default().push(Stretch { from, last, record: fed.plan });
            }
        }
        Ok(self.going_on(body, clause, &diets, "feed plan"))
    }

    /// What goes on about animals, as evidence about each of their stays.
    fn going_on(
        &self,
        mut body: Body,
        clause: &Clause,
        of_animal: &HashMap<Uuid, Vec<Stretch>>,
        what: &str,
    ) -> Body {
        for (_, stay) in self.stays(clause) {
            let stretches = of_animal.get(&stay.animal.id).map_or(&[][..], Vec::as_slice);
            body.evidence.extend(pieces(of(stay), self.days_of(stay), stretches, what));
        }
        body
    }
}

const fn of(stay: &Stay) -> Key {
    key(SubjectKind::Animal, stay.animal.id)
}

/// What a due day shows; nothing where it is not over yet, or was nobody's fault.
fn judged(due: &Due, duty: Duty) -> Option<Shows> {
    let what = done_word(duty);
    match due.state {
        State::InTime(_) => Some(Shows::Met),
        State::Late { days, .. } => {
            Some(Shows::Short(format!("the {what} due on {} was {days} days late", due.day)))
        }
        State::Missed => Some(Shows::Short(format!("the {what} due on {} was not done", due.day))),
        State::Overdue { days } => {
            Some(Shows::Short(format!("the {what} due on {} is {days} days overdue", due.day)))
        }
        State::NotYet | State::Open | State::Lapsed => None,
    }
}
