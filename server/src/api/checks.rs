//! `CheckService`.

use crate::api::decode::Form;
use crate::api::encode::{self, id};
use crate::api::{Api, caller, status};
use crate::model::check::{Check, CheckCoverage, Duty, NewCheck, Scope};
use crate::records::checks::{self, Question};
use chrono::NaiveDate;
use holt_audit::schedule::Coverage;
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::check_scope::Of;
use holt_proto::v1::check_service_server::CheckService;
use tonic::{Request, Response, Status};

pub(super) fn encode_check(check: Check) -> v1::Check {
    let of = match check.scope {
        Scope::Animal(text) => Of::Animal(text),
        Scope::Taxon(name) => Of::Taxon(name),
        Scope::Enclosure(name) => Of::Enclosure(name),
        Scope::Group(name) => Of::Group(name),
        Scope::WholeSite => Of::WholeSite(true),
    };
    v1::Check {
        id: id(check.id),
        site: check.site,
        duty: encode::duty(check.duty).into(),
        scope: Some(v1::CheckScope { of: Some(of) }),
        recurrence: check.recurrence,
        starts_on: Some(day(check.starts_on)),
        ends_on: check.ends_on.map(day),
        grace_days: check.grace_days.into(),
        by_whom: check.by_whom,
        note: check.note,
    }
}

fn counts(counted: Coverage) -> v1::DueCounts {
    let [due, in_time, late, missed, open] =
        [counted.due, counted.in_time, counted.late, counted.missed, counted.open]
            .map(|count| i32::try_from(count).unwrap_or(i32::MAX));
    v1::DueCounts { due, in_time, late, missed, open }
}

fn total(told: &[CheckCoverage]) -> Coverage {
    told.iter().fold(Coverage::default(), |sum, of_it| Coverage {
        due: sum.due + of_it.counts.due,
        in_time: sum.in_time + of_it.counts.in_time,
        late: sum.late + of_it.counts.late,
        missed: sum.missed + of_it.counts.missed,
        open: sum.open + of_it.counts.open,
    })
}

fn coverage(told: CheckCoverage) -> v1::CheckCoverage {
    let short = told.short.into_iter().map(|(animal, counted)| v1::AnimalDueCounts {
        animal: Some(encode::label(animal)),
        counts: Some(counts(counted)),
    });
    v1::CheckCoverage {
        check: Some(encode_check(told.check)),
        counts: Some(counts(told.counts)),
        short: short.collect(),
    }
}

fn scope(form: &mut Form, wire: Option<&v1::CheckScope>) -> Scope {
    match wire.and_then(|scope| scope.of.as_ref()) {
        Some(Of::Animal(text)) => Scope::Animal(form.animal("scope.animal", text)),
        Some(Of::Taxon(name)) => Scope::Taxon(form.text("scope.taxon", name, 1..=200)),
        Some(Of::Enclosure(name)) => Scope::Enclosure(form.text("scope.enclosure", name, 1..=100)),
        Some(Of::Group(name)) => Scope::Group(form.text("scope.group", name, 1..=100)),
        Some(Of::WholeSite(true)) => Scope::WholeSite,
        Some(Of::WholeSite(false)) | None => {
            form.wrong(
                "scope",
                "is missing",
                "name an animal, a species, an enclosure, a group, or the whole site",
            );
            Scope::WholeSite
        }
    }
}

fn duty(wire: i32) -> Option<Duty> {
    match v1::Duty::try_from(wire) {
        Ok(v1::Duty::Weigh) => Some(Duty::Weigh),
        Ok(v1::Duty::Assess) => Some(Duty::Assess),
        Ok(v1::Duty::EndLoan) => Some(Duty::EndLoan),
        Ok(v1::Duty::WeighAgain) => Some(Duty::WeighAgain),
        Ok(v1::Duty::Unspecified) | Err(_) => None,
    }
}

/// One duty, or none for all.
fn wanted_duty(form: &mut Form, wire: i32) -> Option<Duty> {
    let wanted = duty(wire);
    if wire != v1::Duty::Unspecified as i32 && wanted.is_none() {
        form.wrong(
            "duty",
            "is unknown",
            "choose one of weigh, assess, end loan, weigh again, or leave it out",
        );
    }
    wanted
}

#[tonic::async_trait]
impl CheckService for Api {
    async fn create_check(
        &self,
        request: Request<v1::CreateCheckRequest>,
    ) -> Result<Response<v1::CreateCheckResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("CheckService/CreateCheck", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let grace_days = u16::try_from(asked.grace_days).ok().filter(|days| *days <= 366);
        if grace_days.is_none() {
            form.wrong("grace_days", format!("is {}", asked.grace_days), "give 0 to 366");
        }
        let new = NewCheck {
            duty: form.choice(
                "duty",
                duty(asked.duty).filter(|duty| Duty::ALL.contains(duty)),
                "weigh, assess",
                Duty::Weigh,
            ),
            scope: scope(&mut form, asked.scope.as_ref()),
            recurrence: form.text("recurrence", &asked.recurrence, 1..=500),
            starts_on: form.optional_day("starts_on", asked.starts_on),
            grace_days: grace_days.unwrap_or_default(),
            by_whom: form.text("by_whom", &asked.by_whom, 0..=100),
            note: form.text("note", &asked.note, 0..=500),
        };
        form.done()?;
        let check =
            checks::create(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::CreateCheckResponse { check: Some(encode_check(check)) }))
    }

    async fn end_check(
        &self,
        request: Request<v1::EndCheckRequest>,
    ) -> Result<Response<v1::EndCheckResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("CheckService/EndCheck", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let check = form.uuid("check_id", &asked.check_id);
        let ends_on = form.day("ends_on", asked.ends_on);
        let why = form.text("why", &asked.why, 1..=500);
        form.done()?;
        let check = checks::end(&self.records, &caller, &write, &site, check, ends_on, &why)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::EndCheckResponse { check: Some(encode_check(check)) }))
    }

    async fn list_checks(
        &self,
        request: Request<v1::ListChecksRequest>,
    ) -> Result<Response<v1::ListChecksResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let found = checks::list(&self.records, &caller, &site, known_at).await.map_err(status::from)?;
        Ok(Response::new(v1::ListChecksResponse { checks: found.into_iter().map(encode_check).collect() }))
    }

    async fn get_check_coverage(
        &self,
        request: Request<v1::GetCheckCoverageRequest>,
    ) -> Result<Response<v1::GetCheckCoverageResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        if asked.days.is_none() {
            form.wrong("days", "is missing", "give the first and the last day");
        }
        let (first, last) =
            form.days("days", asked.days).unwrap_or((NaiveDate::default(), NaiveDate::default()));
        if (last - first).num_days() >= 1100 {
            form.wrong("days", "is longer than 1100 days", "ask for a shorter period");
        }
        let question = Question {
            site: form.site("site", &asked.site),
            first,
            last,
            as_of: form.optional_day("as_of", asked.as_of),
            duty: wanted_duty(&mut form, asked.duty),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let (as_of, told) =
            checks::coverage(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(v1::GetCheckCoverageResponse {
            total: Some(counts(total(&told))),
            checks: told.into_iter().map(coverage).collect(),
            days: Some(v1::DaySpan { first: Some(day(first)), last: Some(day(last)) }),
            as_of: Some(day(as_of)),
        }))
    }

    async fn list_due(
        &self,
        request: Request<v1::ListDueRequest>,
    ) -> Result<Response<v1::ListDueResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let as_of = form.optional_day("as_of", asked.as_of);
        let duty = wanted_duty(&mut form, asked.duty);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let (as_of, items) =
            checks::due(&self.records, &caller, &site, as_of, duty, known_at).await.map_err(status::from)?;
        Ok(Response::new(v1::ListDueResponse {
            items: items.into_iter().map(encode::due_item).collect(),
            as_of: Some(day(as_of)),
        }))
    }
}
