//! `holt observation`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::session::{Session, request_id};
use crate::views::Many;
use crate::views::watched::{Events, Watched, Withdrawn};
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Observations of groups that are recorded
#[derive(Args, Debug)]
pub(crate) struct Observation {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// List the observations of a group, or of a site, newest first
    #[command(after_help = "\
With --events each thing that was seen is a line, and a scan is one line for each animal.

Examples:
  holt observation list
  holt observation list \"Weir family\" --from 2026-02-01 --events
  holt observation list \"Weir family\" --format json \\
    --as-known-at \"2026-02-20 12:00\"")]
    List {
        /// The group [default: all of the site]
        group: Option<String>,
        #[command(flatten)]
        days: when::Days,
        #[command(flatten)]
        as_known_at: when::AsKnownAt,
        /// Show every event
        #[arg(long)]
        events: bool,
    },
    /// Withdraw an event that was noted by mistake; it stays in the history
    #[command(after_help = "\
`holt observation list --events` shows the observations with their ids, and the numbers of events.

Examples:
  holt observation withdraw 5e1f9c04 3 --because \"it was Alder, not Sedge\"")]
    Withdraw {
        /// The observation: its id, or the beginning or end of it
        #[arg(value_name = "OBSERVATION")]
        of: String,
        /// The number of the event
        #[arg(value_name = "NUMBER")]
        number: i32,
        /// Why
        #[arg(long, value_name = "TEXT")]
        because: String,
    },
}

impl Observation {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let zones = session.zones().await?;
        let zone = zones.of(&site);
        match self.what {
            What::Withdraw { of, number, because } => {
                let watch_id = found(session, &site, &of).await?;
                let ask =
                    v1::WithdrawEventRequest { request_id: request_id(), site, watch_id, number, because };
                let answer = session.ask(ask).await?;
                errand.show(&Withdrawn::new(number, answer, &zones))
            }
            What::List { group, days, as_known_at, events } => {
                let ask = v1::ListWatchesRequest {
                    site,
                    group: group.unwrap_or_default(),
                    days: days.span(session.today(zone))?,
                    as_known_at: as_known_at.instant(zone, session.now())?,
                    page: None,
                };
                let watches = session.all(ask, usize::MAX).await?;
                let watches: Vec<Watched> =
                    watches.into_iter().map(|watch| Watched::new(watch, zone)).collect();
                if events { errand.show(&Events(watches)) } else { errand.show(&Many(watches)) }
            }
        }
    }
}

/// The watch that the beginning or end of an identifier means.
async fn found(session: &Session, site: &str, text: &str) -> Result<String, Failure> {
    let ask = v1::ListWatchesRequest { site: site.to_owned(), ..Default::default() };
    let watches = session.all(ask, usize::MAX).await?;
    match crate::errand::the_one("observation", text, &watches, |watch| &watch.id)? {
        Some(watch) => Ok(watch.id.clone()),
        None => Err(crate::errand::nothing_of("observation", text, "holt observation list")),
    }
}
