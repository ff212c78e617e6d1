//! `holt litter list`, `holt litter show`

use super::find;
use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::views::Many;
use crate::views::litter::{Litter as View, Shown};
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// List the litters of a site, youngest first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt litter list
  holt litter list --all --on 2026-01-01 --format csv")]
pub(super) struct List {
    /// Also those with no animal remaining
    #[arg(long)]
    all: bool,
    /// As of the close of this day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListLittersRequest {
            site,
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            also_empty: self.all,
            page: None,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let litters = session.all(ask, usize::MAX).await?;
        errand.show(&Many(litters.into_iter().map(|litter| View::new(litter, zone)).collect()))
    }
}

/// Show a litter with everything that happened in it
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt litter show Sedge
  holt litter show 0000002a --on 2026-03-05 --format json")]
pub(super) struct Show {
    /// The litter: its dam, or its id
    litter: String,
    /// As of the close of this day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Show {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let litter = find(session, &site, &self.litter).await?;
        let ask = v1::GetLitterRequest {
            site,
            litter_id: litter.id,
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let answer = session.ask(ask).await?;
        errand.show(&Shown::new(answer, zone))
    }
}
