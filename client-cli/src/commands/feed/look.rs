//! `holt feed show`, `holt feed list`

use crate::commands::when;
use crate::errand::{Errand, Outcome, most};
use crate::exit::Exit;
use crate::moment::DayWord;
use crate::views::Many;
use crate::views::feeding::{Feed as View, Feeding};
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Show a group's feeding: its plan, what it was given and ate, and what it needs
#[derive(Args, Debug)]
#[command(after_help = "\
Averages are over past days with recorded feeds. What was eaten is known only if the leftovers of all feeds \
of that day are recorded.

Examples:
  holt feed show \"Weir family\"
  holt feed show \"Weir family\" --on 2026-11-20 --days 28 --format csv
  holt feed show \"Weir family\" --ask || echo \"look at the plan\"")]
pub(super) struct Show {
    /// The group: its name, or its id
    group: String,
    /// The day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Days to look back [default: 14]
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=92))]
    days: Option<i32>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// Exit with 10 unless the plan is known to fit what the members need
    #[arg(long)]
    ask: bool,
}

impl Show {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::GetFeedingRequest {
            site,
            group: self.group,
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            days: self.days.unwrap_or_default(),
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let feeding = Feeding::new(session.ask(ask).await?, zone);
        errand.show(&feeding)?;
        Ok(if self.ask && !feeding.fits() { Exit::No } else { Exit::Done })
    }
}

/// List what was given at a site, newest first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt feed list --group \"Weir family\" --from yesterday
  holt feed list --animal Sedge --format csv")]
pub(super) struct List {
    /// Only feeds of this group: its name, or its id
    #[arg(long, value_name = "GROUP", conflicts_with = "animal")]
    group: Option<String>,
    /// Only feeds of this animal alone
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
    #[command(flatten)]
    days: when::Days,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// Show only the newest N
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    limit: Option<u32>,
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListFeedsRequest {
            site,
            group: self.group.unwrap_or_default(),
            animal: self.animal.unwrap_or_default(),
            days: self.days.span(session.today(zone))?,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
            page: None,
        };
        let limit = most(self.limit);
        let feeds = session.all(ask, limit).await?;
        errand.show(&Many(feeds.into_iter().map(|feed| View::new(feed, zone)).collect()))
    }
}
