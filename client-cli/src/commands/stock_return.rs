//! `holt stock-return`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::moment::DayWord;
use crate::views::stock_return::StockReturns as View;
use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Stock return: opening, arrivals, births, deaths, departures and closing by species
#[derive(Args, Debug)]
#[command(after_help = "\
Counts are males.females.unknown, animals in litters included. Holt checks each line: opening plus gains \
less losses is closing. With the same days and the same --as-known-at, the return is always the same.

Examples:
  holt stock-return --year 2025
  holt stock-return --from 2025-04-01 --to 2026-03-31 --site QUI --format csv
  holt stock-return --year 2025 --all-sites --together --format json")]
pub(crate) struct StockReturn {
    /// A calendar year [default: this one until today]
    #[arg(long, value_name = "YEAR", conflicts_with_all = ["from", "to"])]
    #[arg(value_parser = clap::value_parser!(i32).range(1..=9999))]
    year: Option<i32>,
    /// First day
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day [default: today]
    #[arg(long, value_name = "DAY", requires = "from")]
    to: Option<DayWord>,
    /// Count deaths within so many days after birth apart [default: 30]
    #[arg(long, value_name = "DAYS", default_value_t = 30, hide_default_value = true)]
    #[arg(value_parser = clap::value_parser!(i32).range(1..=366))]
    young: i32,
    /// All your sites, not only the one in use
    #[arg(long)]
    all_sites: bool,
    /// One return of all your sites together; moves between them do not count
    #[arg(long, requires = "all_sites")]
    together: bool,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl StockReturn {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = if self.all_sites { None } else { Some(errand.site().await?) };
        let zones = session.zones().await?;
        let zone = site.as_ref().map_or(Tz::UTC, |site| zones.of(site));
        let today = session.today(zone);
        let of_year = |year, month, date| NaiveDate::from_ymd_opt(year, month, date).unwrap_or(today);
        let days = match (self.year, when::span(self.from, self.to, today)?) {
            (Some(year), _) => {
                v1::DaySpan { first: Some(day(of_year(year, 1, 1))), last: Some(day(of_year(year, 12, 31))) }
            }
            (None, Some(span)) => span,
            (None, None) => {
                v1::DaySpan { first: Some(day(of_year(today.year(), 1, 1))), last: Some(day(today)) }
            }
        };
        let ask = v1::GetStockReturnRequest {
            site: site.unwrap_or_default(),
            days: Some(days),
            young_days: self.young,
            together: self.together,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let view = View::new(session.ask(ask).await?, &zones);
        errand.show(&view)?;
        // The server counts; what does not add up there is a fault of Holt.
        Ok(if view.balances() { Exit::Done } else { Exit::Fault })
    }
}
