//! `CensusService`.

use crate::api::decode::Form;
use crate::api::encode::{counts, label, taxon};
use crate::api::{Api, caller, status};
use crate::model::stock_return::StockReturn;
use crate::model::taxon::Taxon;
use crate::report::stock_return::{self, Question, USUAL_YOUNG_DAYS};
use chrono::NaiveDate;
use holt_audit::census::Line;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::census_service_server::CensusService;
use tonic::{Request, Response, Status};

fn line(species: Option<Taxon>, line: &Line) -> v1::StockLine {
    v1::StockLine {
        taxon: species.map(taxon),
        opening: Some(counts(line.opening)),
        arrived: Some(counts(line.arrived)),
        born: Some(counts(line.born)),
        died_young: Some(counts(line.died_young)),
        died: Some(counts(line.died)),
        departed: Some(counts(line.departed)),
        escaped: Some(counts(line.escaped)),
        sexed: Some(counts(line.sexed)),
        closing: Some(counts(line.closing)),
        balances: line.balances(),
    }
}

fn stock_return(told: StockReturn) -> v1::StockReturn {
    v1::StockReturn {
        sites: told.sites,
        name: told.name,
        licence: told.licence,
        lines: told.lines.into_iter().map(|(taxon, of_it)| line(Some(taxon), &of_it)).collect(),
        total: Some(line(None, &told.total)),
        balances: told.balances,
        age_unsure: told.age_unsure.into_iter().map(label).collect(),
        on_their_way: i64::try_from(told.on_their_way).unwrap_or(i64::MAX),
    }
}

#[tonic::async_trait]
impl CensusService for Api {
    async fn get_stock_return(
        &self,
        request: Request<v1::GetStockReturnRequest>,
    ) -> Result<Response<v1::GetStockReturnResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let young_days = match asked.young_days {
            0 => USUAL_YOUNG_DAYS,
            days @ 1..=366 => days.into(),
            days => {
                form.wrong(
                    "young_days",
                    format!("is {days}"),
                    "give 1 to 366 days, or 0 for the default of 30",
                );
                USUAL_YOUNG_DAYS
            }
        };
        if asked.days.is_none() {
            form.wrong("days", "is missing", "give the first and the last day");
        }
        let (first, last) =
            form.days("days", asked.days).unwrap_or((NaiveDate::default(), NaiveDate::default()));
        let question = Question {
            site: form.optional_site("site", &asked.site),
            first,
            last,
            young_days,
            together: asked.together,
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let told = stock_return::of(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(v1::GetStockReturnResponse {
            returns: told.returns.into_iter().map(stock_return).collect(),
            days: Some(v1::DaySpan { first: Some(day(told.first)), last: Some(day(told.last)) }),
            young_days: i32::try_from(told.young_days).unwrap_or(i32::MAX),
            as_known_at: Some(timestamp(told.as_known_at)),
        }))
    }
}
