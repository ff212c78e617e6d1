//! `ReportService`.

use crate::api::decode::Form;
use crate::api::encode;
use crate::api::{Api, caller, status};
use crate::model::report::{DutyCoverage, SiteDay};
use crate::report::site_day::{self, CAUTION, Question, USUAL_SPAN};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::report_service_server::ReportService;
use tonic::{Request, Response, Status};

fn count(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn coverage(told: DutyCoverage) -> v1::Coverage {
    v1::Coverage {
        duty: encode::duty(told.duty).into(),
        due: count(told.due),
        done_in_time: count(told.in_time),
        late: count(told.late),
        missed: count(told.missed),
        open: count(told.open),
        without_check: told.without_check.into_iter().map(encode::label).collect(),
        not_done: told.not_done.into_iter().map(encode::label).collect(),
    }
}

fn site_day(told: SiteDay) -> v1::SiteDay {
    let stock = told.stock.into_iter().map(|(taxon, held)| v1::SpeciesHeld {
        taxon: Some(encode::taxon(taxon)),
        held: Some(encode::counts(held)),
    });
    v1::SiteDay {
        site: told.site,
        name: told.name,
        stock: stock.collect(),
        total: Some(encode::counts(told.total)),
        coverage: told.coverage.into_iter().map(coverage).collect(),
        overdue: told.overdue.into_iter().map(encode::due_item).collect(),
        concerns: told.concerns.into_iter().map(encode::concern).collect(),
        transfers: told.transfers.into_iter().map(encode::transfer).collect(),
        loans_ending: told.loans_ending.into_iter().map(encode::due_item).collect(),
    }
}

#[tonic::async_trait]
impl ReportService for Api {
    async fn get_site_day(
        &self,
        request: Request<v1::GetSiteDayRequest>,
    ) -> Result<Response<v1::GetSiteDayResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let span_days = match asked.span_days {
            0 => USUAL_SPAN,
            days @ 1..=3660 => u64::from(days.unsigned_abs()),
            days => {
                form.wrong(
                    "span_days",
                    format!("is {days}"),
                    "give 1 to 3660 days, or 0 for the default of 30",
                );
                USUAL_SPAN
            }
        };
        let question = Question {
            site: form.optional_site("site", &asked.site),
            as_of: form.optional_day("as_of", asked.as_of),
            span_days,
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let told = site_day::of(&self.records, &caller, &question).await.map_err(status::from)?;
        let span = v1::DaySpan { first: Some(day(told.first)), last: Some(day(told.as_of)) };
        Ok(Response::new(v1::GetSiteDayResponse {
            sites: told.sites.into_iter().map(site_day).collect(),
            as_of: Some(day(told.as_of)),
            span: Some(span),
            as_known_at: Some(timestamp(told.as_known_at)),
            caution: CAUTION.to_owned(),
        }))
    }
}
