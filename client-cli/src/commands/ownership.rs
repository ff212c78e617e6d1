//! `holt ownership`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::animal::{Animal as View, Elsewhere};
use crate::views::{Many, Told};
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;

/// Ownership of animals, wherever they live
#[derive(Args, Debug)]
pub(crate) struct Ownership {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Pass(Pass),
    Elsewhere(OwnedElsewhere),
}

impl Ownership {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Pass(command) => command.run(errand).await,
            What::Elsewhere(command) => command.run(errand).await,
        }
    }
}

/// Record that somebody else owns an animal from a day on, while it stays where it is
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt ownership pass Teasel --to MER --because \"given with the loan's end\"
  holt ownership pass Bramble --to \"Fenwater Collection\" --on 2026-03-01 \\
    --because \"sold\"")]
struct Pass {
    /// The animal
    animal: String,
    /// Who owns it from then on: the code of a site, or a name outside Holt
    #[arg(long, value_name = "OWNER")]
    to: String,
    /// First day of the new ownership [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Pass {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::PassTitleRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            to: self.to,
            passes_on: self.on.map(|on| day(on.resolve(session.today(zone)))),
            because: self.because,
            version: self.based_on,
            validate_only: self.check_only,
        };
        let thing = View::new(session.ask(ask).await?.animal.unwrap_or_default(), zone);
        let say = |thing: &View| {
            format!("{} is owned by {}.", thing.spoken(), thing.owner.as_deref().unwrap_or("nobody"))
        };
        errand.show(&Told::new(thing, self.check_only, say))
    }
}

/// List the animals that a site owns but does not hold
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt ownership elsewhere
  holt ownership elsewhere --on 2025-12-31 --format csv")]
struct OwnedElsewhere {
    /// As of the close of this day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl OwnedElsewhere {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListOwnedElsewhereRequest {
            site,
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            page: None,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let animals = session.all(ask, usize::MAX).await?;
        errand.show(&Many(animals.into_iter().map(|animal| Elsewhere(View::new(animal, zone))).collect()))
    }
}
