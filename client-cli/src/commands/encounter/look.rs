//! `holt encounter allowance`, `holt encounter list`

use crate::commands::when;
use crate::errand::{Errand, Outcome, most};
use crate::exit::Exit;
use crate::moment::WhenWord;
use crate::views::Many;
use crate::views::encounter::{Allowance as Allowed, Encounter as View};
use clap::Args;
use holt_proto::v1;

/// Show today's allowance of each animal, and limits that were not kept
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt encounter allowance
  holt encounter allowance --group \"Weir family\" --ask || echo \"not now\"
  holt encounter allowance --at \"2026-11-25 14:00\" --format csv")]
pub(super) struct Allowance {
    /// Only members of this group, also those without limits
    #[arg(long, value_name = "GROUP")]
    group: Option<String>,
    /// At this time [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// Exit with 10 if any of them may not meet people at that time
    #[arg(long)]
    ask: bool,
}

impl Allowance {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListEncounterAllowancesRequest {
            site,
            group: self.group.unwrap_or_default(),
            asked_at: when::instant(self.at, zone, session.now())?,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let allowances = session.ask(ask).await?.allowances;
        let views: Vec<Allowed> =
            allowances.into_iter().map(|allowance| Allowed::new(allowance, zone)).collect();
        let any = views.iter().any(|allowance| !allowance.may_meet_now());
        errand.show(&Many(views))?;
        Ok(if self.ask && any { Exit::No } else { Exit::Done })
    }
}

/// List encounters, newest first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt encounter list --from 2026-11-01
  holt encounter list --animal Sedge --incidents --format csv")]
pub(super) struct List {
    /// Only those of this animal
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
    #[command(flatten)]
    days: when::Days,
    /// Only those with an incident
    #[arg(long)]
    incidents: bool,
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
        let ask = v1::ListEncountersRequest {
            site,
            animal: self.animal.unwrap_or_default(),
            days: self.days.span(session.today(zone))?,
            incidents_only: self.incidents,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
            page: None,
        };
        let limit = most(self.limit);
        let found = session.all(ask, limit).await?;
        errand.show(&Many(found.into_iter().map(|encounter| View::new(encounter, zone)).collect()))
    }
}
