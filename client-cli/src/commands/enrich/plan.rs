//! `holt enrich plan`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::views::enrichment::Rota;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Make a week's rota for groups that share staff; nothing is recorded
#[derive(Args, Debug)]
#[command(after_help = "\
Kinds that were rare recently come first, and items that are fresh and liked. The rota keeps to hazards, \
species, rest and staff time. It uses items with energy only within what the group's feeding plan keeps for \
enrichment (`holt feed plan`). The same seed gives the same rota.

Examples:
  holt enrich plan \"Weir family\" --minutes 40
  holt enrich plan \"Weir family\" \"Holm pair\" --minutes 60 --seed 3")]
pub(super) struct Plan {
    /// The groups: name or id of each
    #[arg(value_name = "GROUP", required = true)]
    groups: Vec<String>,
    /// Staff minutes on each day, for all groups together
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(0..=1440))]
    minutes: i32,
    /// First day [default: tomorrow]
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// How many days [default: 7]
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=28))]
    days: Option<i32>,
    /// Seed that decides between equals; another seed gives another rota
    #[arg(long, value_name = "NUMBER", default_value_t = 0)]
    seed: u64,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Plan {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::PlanEnrichmentRequest {
            site,
            groups: self.groups,
            first: self.from.map(|from| day(from.resolve(session.today(zone)))),
            days: self.days.unwrap_or_default(),
            staff_minutes: self.minutes,
            seed: self.seed,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let rota = Rota::from(session.ask(ask).await?);
        errand.show(&rota)
    }
}
