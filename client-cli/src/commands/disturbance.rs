//! `holt disturbance`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::WhenWord;
use crate::session::request_id;
use crate::views::upset::Upset as View;
use crate::views::{Many, Told};
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Disturbances of a group: what happened, and how long it took to calm down
#[derive(Args, Debug)]
pub(crate) struct Disturbance {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Record a disturbance of a group
    #[command(after_help = "\
Examples:
  holt disturbance record \"Weir family\" alarm \"a heron on the roof\" \\
    --calm-after 12
  holt disturbance record \"Weir family\" fight \"all on Sedge\" \\
    --animal Sedge --at 07:10")]
    Record {
        /// The group: its name, or its id
        group: String,
        /// Kind of disturbance
        #[arg(value_name = "KIND", value_parser = words::parser::<v1::UpsetKind>())]
        kind: v1::UpsetKind,
        /// What happened
        happened: String,
        /// What was done about it
        #[arg(long, value_name = "TEXT")]
        response: Option<String>,
        /// Minutes until the group was calm, if somebody saw it
        #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(0..=10_080))]
        calm_after: Option<i32>,
        /// An animal that it happened to most; may be given several times
        #[arg(long = "animal", value_name = "ANIMAL")]
        animals: Vec<String>,
        /// When it began [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
        /// Check everything and record nothing
        #[arg(long)]
        check_only: bool,
    },
    /// List the disturbances of a group, or of a site, newest first
    #[command(after_help = "\
Examples:
  holt disturbance list
  holt disturbance list \"Weir family\" --from 2026-01-01 --format csv")]
    List {
        /// The group [default: all of the site]
        group: Option<String>,
        #[command(flatten)]
        days: when::Days,
        #[command(flatten)]
        as_known_at: when::AsKnownAt,
    },
}

impl Disturbance {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        match self.what {
            What::Record { group, kind, happened, response, calm_after, animals, at, check_only } => {
                let ask = v1::RecordUpsetRequest {
                    request_id: request_id(),
                    site,
                    group,
                    kind: kind.into(),
                    began_at: when::instant(at, zone, session.now())?,
                    happened,
                    response: response.unwrap_or_default(),
                    calm_after_minutes: calm_after,
                    animals,
                    validate_only: check_only,
                };
                let thing = View::new(session.ask(ask).await?.upset.unwrap_or_default(), zone);
                let say = |thing: &View| format!("{} is recorded.", thing.spoken());
                errand.show(&Told::new(thing, check_only, say))
            }
            What::List { group, days, as_known_at } => {
                let ask = v1::ListUpsetsRequest {
                    site,
                    group: group.unwrap_or_default(),
                    days: days.span(session.today(zone))?,
                    as_known_at: as_known_at.instant(zone, session.now())?,
                    page: None,
                };
                let upsets = session.all(ask, usize::MAX).await?;
                errand.show(&Many(upsets.into_iter().map(|upset| View::new(upset, zone)).collect()))
            }
        }
    }
}
