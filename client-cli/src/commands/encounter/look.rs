//! `holt encounter left`, `holt encounter list`

use crate::commands::when;
use crate::errand::{Errand, Outcome, most};
use crate::exit::Exit;
use crate::moment::{DayWord, WhenWord};
use crate::views::Many;
use crate::views::encounter::{Allowance, Encounter as View};
use clap::Args;
use holt_proto::v1;

/// Show what is left today of the limits of each animal, and which were not kept
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt encounter left
  holt encounter left --group \"Weir family\" --ask || echo \"not now\"
  holt encounter left --at \"2026-11-25 14:00\" --format csv")]
pub(super) struct Left {
    /// Members of one group only, also those without limits
    #[arg(long, value_name = "GROUP")]
    group: Option<String>,
    /// At this time; now, unless given
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    /// As was known at this time; now, unless given
    #[arg(long, value_name = "TIME")]
    as_known_at: Option<WhenWord>,
    /// Exit with 10 if any of them may not be met at that time
    #[arg(long)]
    ask: bool,
}

impl Left {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let zone = session.zone(&site).await?;
        let ask = v1::ListEncounterAllowancesRequest {
            site,
            group: self.group.unwrap_or_default(),
            asked_at: when::instant(self.at, zone, session.now())?,
            as_known_at: when::instant(self.as_known_at, zone, session.now())?,
        };
        let allowances = session.ask(ask).await?.allowances;
        let views: Vec<Allowance> =
            allowances.into_iter().map(|allowance| Allowance::new(allowance, zone)).collect();
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
    /// Of one animal only
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
    /// First day
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day; today, unless given
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
    /// Only those in which something went wrong
    #[arg(long)]
    incidents: bool,
    /// As was known at this time; now, unless given
    #[arg(long, value_name = "TIME")]
    as_known_at: Option<WhenWord>,
    /// The newest so many only
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    limit: Option<u32>,
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let zone = session.zone(&site).await?;
        let ask = v1::ListEncountersRequest {
            site,
            animal: self.animal.unwrap_or_default(),
            days: when::span(self.from, self.to, session.today(zone))?,
            incidents_only: self.incidents,
            as_known_at: when::instant(self.as_known_at, zone, session.now())?,
            page: None,
        };
        let limit = most(self.limit);
        let found = session.all(ask, limit).await?;
        errand.show(&Many(found.into_iter().map(|encounter| View::new(encounter, zone)).collect()))
    }
}
