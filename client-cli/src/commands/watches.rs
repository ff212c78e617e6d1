//! `holt watches`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::moment::{DayWord, WhenWord};
use crate::session::{Session, request_id};
use crate::views::Many;
use crate::views::watched::{Events, Watched, Withdrawn};
use clap::Args;
use holt_proto::v1;

/// List what groups were watched for, newest first
#[derive(Args, Debug)]
#[command(after_help = "\
With --events each thing that was seen is a line, and a scan one line for each animal. An event that was \
noted by mistake is withdrawn by its watch and its number; it stays on record as withdrawn.

Examples:
  holt watches
  holt watches \"Weir family\" --from 2026-02-01 --events
  holt watches \"Weir family\" --format json --as-known-at \"2026-02-20 12:00\"
  holt watches --withdraw 3 --of 5e1f9c04 --because \"it was Alder, not Sedge\"")]
pub(crate) struct Watches {
    /// The group; all of the site, unless given
    group: Option<String>,
    /// First day
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day; today, unless given
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
    /// As was known at this time; now, unless given
    #[arg(long, value_name = "TIME")]
    as_known_at: Option<WhenWord>,
    /// Every event
    #[arg(long)]
    events: bool,
    /// Withdraw the event of this number
    #[arg(long, value_name = "NUMBER", requires = "of", requires = "because")]
    #[arg(conflicts_with_all = ["group", "from", "to", "as_known_at", "events"])]
    withdraw: Option<i32>,
    /// The watch that it stands in: its id, or the beginning or end of it
    #[arg(long, value_name = "WATCH", requires = "withdraw")]
    of: Option<String>,
    /// Why
    #[arg(long, value_name = "TEXT", requires = "withdraw")]
    because: Option<String>,
}

impl Watches {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let zones = session.zones().await?;
        let zone = zones.of(&site);
        if let (Some(number), Some(of)) = (self.withdraw, &self.of) {
            let watch_id = found(session, &site, of).await?;
            let because = self.because.unwrap_or_default();
            let ask = v1::WithdrawEventRequest { request_id: request_id(), site, watch_id, number, because };
            let answer = session.ask(ask).await?;
            return errand.show(&Withdrawn::new(number, answer, &zones));
        }
        let ask = v1::ListWatchesRequest {
            site,
            group: self.group.unwrap_or_default(),
            days: when::span(self.from, self.to, session.today(zone))?,
            as_known_at: when::instant(self.as_known_at, zone, session.now())?,
            page: None,
        };
        let watches = session.all(ask, usize::MAX).await?;
        let watches: Vec<Watched> = watches.into_iter().map(|watch| Watched::new(watch, zone)).collect();
        if self.events { errand.show(&Events(watches)) } else { errand.show(&Many(watches)) }
    }
}

/// The watch that the beginning or end of an identifier means.
async fn found(session: &Session, site: &str, text: &str) -> Result<String, Failure> {
    let ask = v1::ListWatchesRequest { site: site.to_owned(), ..Default::default() };
    let watches = session.all(ask, usize::MAX).await?;
    match crate::errand::the_one("watch", text, &watches, |watch| &watch.id)? {
        Some(watch) => Ok(watch.id.clone()),
        None => Err(crate::errand::nothing_of("watch", text, "holt watches")),
    }
}
