//! `CensusService`.

use crate::api::decode::Form;
use crate::api::encode::{counts, fact, id, label, taxon};
use crate::api::{Api, caller, status};
use crate::model::stock_return::{StockEntry, StockReturn};
use crate::model::taxon::Taxon;
use crate::report::stock_entries::{self, Behind};
use crate::report::stock_return::{self, Question, USUAL_YOUNG_DAYS};
use chrono::NaiveDate;
use holt_audit::census::{Column, Line, Who};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::census_service_server::CensusService;
use prost_types::Timestamp;
use tonic::{Request, Response, Status};

/// How many columns a return has.
const COLUMNS: usize = 9;

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

/// Reads what a return is asked for.
fn question(
    form: &mut Form,
    site: &str,
    days: Option<v1::DaySpan>,
    young_days: i32,
    together: bool,
    known_at: Option<Timestamp>,
) -> Question {
    let young_days = match young_days {
        0 => USUAL_YOUNG_DAYS,
        days @ 1..=366 => days.into(),
        days => {
            form.wrong("young_days", format!("is {days}"), "give 1 to 366 days, or 0 for the default of 30");
            USUAL_YOUNG_DAYS
        }
    };
    if days.is_none() {
        form.wrong("days", "is missing", "give the first and the last day");
    }
    let (first, last) = form.days("days", days).unwrap_or((NaiveDate::default(), NaiveDate::default()));
    Question {
        site: form.optional_site("site", site),
        first,
        last,
        young_days,
        together,
        known_at: form.instant("as_known_at", known_at),
    }
}

fn span(first: NaiveDate, last: NaiveDate) -> v1::DaySpan {
    v1::DaySpan { first: Some(day(first)), last: Some(day(last)) }
}

const fn column(column: Column) -> v1::StockColumn {
    match column {
        Column::Opening => v1::StockColumn::Opening,
        Column::Arrived => v1::StockColumn::Arrived,
        Column::Born => v1::StockColumn::Born,
        Column::DiedYoung => v1::StockColumn::DiedYoung,
        Column::Died => v1::StockColumn::Died,
        Column::Departed => v1::StockColumn::Departed,
        Column::Escaped => v1::StockColumn::Escaped,
        Column::Sexed => v1::StockColumn::Sexed,
        Column::Closing => v1::StockColumn::Closing,
    }
}

fn asked_column(form: &mut Form, n: usize, wire: i32) -> Column {
    let asked = match v1::StockColumn::try_from(wire) {
        Ok(v1::StockColumn::Opening) => Some(Column::Opening),
        Ok(v1::StockColumn::Arrived) => Some(Column::Arrived),
        Ok(v1::StockColumn::Born) => Some(Column::Born),
        Ok(v1::StockColumn::DiedYoung) => Some(Column::DiedYoung),
        Ok(v1::StockColumn::Died) => Some(Column::Died),
        Ok(v1::StockColumn::Departed) => Some(Column::Departed),
        Ok(v1::StockColumn::Escaped) => Some(Column::Escaped),
        Ok(v1::StockColumn::Sexed) => Some(Column::Sexed),
        Ok(v1::StockColumn::Closing) => Some(Column::Closing),
        Ok(v1::StockColumn::Unspecified) | Err(_) => None,
    };
    let columns = "opening, arrived, born, died young, died, departed, escaped, sexed, closing";
    form.choice(&format!("columns[{n}]"), asked, columns, Column::Closing)
}

fn entry(told: StockEntry) -> v1::StockEntry {
    let (animal, litter_id) = match told.who {
        Who::Animal(animal) => (Some(label(animal)), String::new()),
        Who::Litter(litter) => (None, id(litter)),
    };
    v1::StockEntry {
        column: column(told.column).into(),
        taxon: Some(taxon(told.taxon)),
        site: told.site,
        counted_on: Some(day(told.day)),
        counts: Some(counts(told.counts)),
        animal,
        litter_id,
        record_id: told.record.map(id).unwrap_or_default(),
        facts: told.facts.into_iter().map(fact).collect(),
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
        let (young_days, known_at) = (asked.young_days, asked.as_known_at);
        let question = question(&mut form, &asked.site, asked.days, young_days, asked.together, known_at);
        form.done()?;
        let told = stock_return::of(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(v1::GetStockReturnResponse {
            returns: told.returns.into_iter().map(stock_return).collect(),
            days: Some(span(told.first, told.last)),
            young_days: i32::try_from(told.young_days).unwrap_or(i32::MAX),
            as_known_at: Some(timestamp(told.as_known_at)),
        }))
    }

    async fn list_stock_entries(
        &self,
        request: Request<v1::ListStockEntriesRequest>,
    ) -> Result<Response<v1::ListStockEntriesResponse>, Status> {
        const METHOD: &str = "CensusService/ListStockEntries";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let (young_days, known_at) = (asked.young_days, asked.as_known_at);
        let question = question(&mut form, &asked.site, asked.days, young_days, asked.together, known_at);
        if asked.columns.len() > COLUMNS {
            form.wrong("columns", "are more than there are", "name each once, or none for all");
        }
        let columns = asked.columns.iter().take(COLUMNS).enumerate();
        let behind = Behind {
            columns: columns.map(|(n, wire)| asked_column(&mut form, n, *wire)).collect(),
            taxon: form.text("taxon", &asked.taxon, 0..=200),
        };
        form.done()?;
        let told = stock_entries::of(&self.records, &caller, &question, &behind, &page)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListStockEntriesResponse {
            entries: told.entries.entries.into_iter().map(entry).collect(),
            days: Some(span(question.first, question.last)),
            young_days: i32::try_from(question.young_days).unwrap_or(i32::MAX),
            as_known_at: Some(timestamp(told.as_known_at)),
            page: Some(self.pages.write(told.entries.next, METHOD, &asked)),
        }))
    }
}
