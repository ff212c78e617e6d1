//! `holt stock-return`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::moment::DayWord;
use crate::views::Many;
use crate::views::stock_entry::StockEntry;
use crate::views::stock_return::StockReturns as View;
use crate::words::parser;
use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1::{self, StockColumn};

/// Stock return: opening, arrivals, births, deaths, departures and closing by species
#[derive(Args, Debug)]
#[command(after_help = "\
Counts are males.females.unknown, animals in litters included. Holt checks each line: opening plus gains \
less losses is closing. With the same days and the same --as-known-at, the return is always the same.

Examples:
  holt stock-return --year 2025
  holt stock-return --from 2025-04-01 --to 2026-03-31 --site QUI --format csv
  holt stock-return --year 2025 --all-sites --together --format json
  holt stock-return --year 2025 --open died-young,died
  holt stock-return --year 2025 --open --format csv")]
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
    /// The animals behind these columns, each with its records, instead of the counts [default: all columns]
    #[arg(long, value_name = "COLUMN", num_args = 0.., value_delimiter = ',', value_parser = parser::<StockColumn>())]
    open: Option<Vec<StockColumn>>,
    /// With --open, only this species, by its scientific name
    #[arg(long, value_name = "NAME", requires = "open")]
    species: Option<String>,
    /// With --open, show at most so many [default: 1000]
    #[arg(long, value_name = "N", requires = "open", default_value_t = 1000, hide_default_value = true)]
    limit: usize,
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
        let (site, days) = (site.unwrap_or_default(), Some(days));
        let (young_days, together) = (self.young, self.together);
        let as_known_at = self.as_known_at.instant(zone, session.now())?;
        if let Some(columns) = self.open {
            let columns = columns.into_iter().map(i32::from).collect();
            let taxon = self.species.unwrap_or_default();
            let ask = v1::ListStockEntriesRequest {
                site,
                days,
                young_days,
                together,
                as_known_at,
                columns,
                taxon,
                page: None,
            };
            let entries = session.all(ask, self.limit).await?;
            let entries = entries.into_iter().map(|entry| StockEntry::new(entry, &zones));
            errand.show(&Many(entries.collect()))?;
            return Ok(Exit::Done);
        }
        let ask = v1::GetStockReturnRequest { site, days, young_days, together, as_known_at };
        let view = View::new(session.ask(ask).await?, &zones);
        errand.show(&view)?;
        // The server counts; what does not add up there is a fault of Holt.
        Ok(if view.balances() { Exit::Done } else { Exit::Fault })
    }
}
