//! `holt report`

mod page;

use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::views::report::Report as View;
use chrono_tz::Tz;
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;

/// Report on sites as of a day: stock, duties done and not done, concerns, transfers
#[derive(Args, Debug)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "\
With the same day and the same --as-known-at, the report is always the same.

Examples:
  holt report
  holt report --on 2026-02-28 --span 28 --site QUI
  holt report --all-sites --on 2025-12-31 --span 365 --format json
  holt report --on 2025-12-31 --as-known-at 2026-01-15T12:00Z
  holt report page --site QUI --year 2025 --out quill-2025.html"
)]
pub(crate) struct Report {
    /// As of the close of this day at each site [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Days to look back over, that day included [default: 30]
    #[arg(long, value_name = "DAYS", default_value_t = 30, hide_default_value = true)]
    #[arg(value_parser = clap::value_parser!(i32).range(1..=3660))]
    span: i32,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// All your sites, not only the one in use
    #[arg(long)]
    all_sites: bool,
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    Page(page::Page),
}

impl Report {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        if let Some(What::Page(command)) = self.what {
            return command.run(errand).await;
        }
        let session = &errand.session;
        let site = if self.all_sites { None } else { errand.named_site() };
        let zones = session.zones().await?;
        let zone = site.as_ref().map_or(Tz::UTC, |site| zones.of(site));
        let ask = v1::GetSiteDayRequest {
            site: site.unwrap_or_default(),
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            span_days: self.span,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let answer = session.ask(ask).await?;
        errand.show(&View::new(answer, &zones))
    }
}
