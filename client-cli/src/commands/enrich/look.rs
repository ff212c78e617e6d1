//! `holt enrich show`, `holt enrich list`, `holt enrich items`

use crate::commands::when;
use crate::errand::{Errand, Outcome, most};
use crate::moment::DayWord;
use crate::views::Many;
use crate::views::enrichment::{Account, Item, Offer};
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Show how varied a group's enrichment is, and how each item does
#[derive(Args, Debug)]
#[command(after_help = "\
Items that were not offered for longest come first. Wear is the change of use from one offer to the next; it \
needs at least five timed offers.

Examples:
  holt enrich show \"Weir family\"
  holt enrich show \"Weir family\" --days 91 --format csv")]
pub(super) struct Show {
    /// The group: its name, or its id
    group: String,
    /// The day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Days of the variety [default: 28]
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=182))]
    days: Option<i32>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Show {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::GetEnrichmentRequest {
            site,
            group: self.group,
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            days: self.days.unwrap_or_default(),
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let days = if ask.days == 0 { 28 } else { ask.days };
        let account = Account::new(session.ask(ask).await?, days, zone);
        errand.show(&account)
    }
}

/// List what was offered at a site, newest first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt enrich list --group \"Weir family\" --from 2026-11-01
  holt enrich list --in \"Otter pool\" --format csv")]
pub(super) struct List {
    /// Only offers to this group, or where a member of it lived
    #[arg(long, value_name = "GROUP")]
    group: Option<String>,
    /// Only offers in this enclosure
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
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
        let ask = v1::ListEnrichmentOffersRequest {
            site,
            group: self.group.unwrap_or_default(),
            enclosure: self.enclosure.unwrap_or_default(),
            days: self.days.span(session.today(zone))?,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
            page: None,
        };
        let limit = most(self.limit);
        let offers = session.all(ask, limit).await?;
        errand.show(&Many(offers.into_iter().map(|offer| Offer::new(offer, zone)).collect()))
    }
}

/// List the items of a site
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt enrich items\n  holt enrich items --all --format csv")]
pub(super) struct Items {
    /// Also those out of use
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Items {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListEnrichmentItemsRequest {
            site,
            also_out_of_use: self.all,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let items = session.ask(ask).await?.items;
        errand.show(&Many(items.into_iter().map(Item::from).collect()))
    }
}
