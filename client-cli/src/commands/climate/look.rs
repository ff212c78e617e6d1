//! `holt climate show`, `holt climate exposure`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::moment::WhenWord;
use crate::views::climate::{Exposures, Standing};
use chrono::TimeDelta;
use clap::Args;
use holt_proto::time::timestamp;
use holt_proto::v1;

/// Show each enclosure: latest readings, the range that must be kept, and alarms
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt climate show
  holt climate show --in \"Burrow House\" --ask || echo \"look at it\"")]
pub(super) struct Show {
    /// One enclosure only
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    /// Exit with 10 if there is any alarm
    #[arg(long)]
    ask: bool,
}

impl Show {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::GetClimateRequest { site, enclosure: self.enclosure.unwrap_or_default() };
        let standing = Standing::new(session.ask(ask).await?, zone);
        errand.show(&standing)?;
        Ok(if self.ask && standing.any_alarm() { Exit::No } else { Exit::Done })
    }
}

/// Show how long, and how far, enclosures were outside their range
#[derive(Args, Debug)]
#[command(after_help = "\
Holt draws a straight line between two readings. While a device was silent, nothing is known.

Examples:
  holt climate exposure --from \"2026-11-01 00:00\"
  holt climate exposure --in Attic --from \"2026-11-24 18:00\" --format csv")]
pub(super) struct Exposure {
    /// One enclosure only
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    /// First time [default: a day ago]
    #[arg(long, value_name = "TIME")]
    from: Option<WhenWord>,
    /// Last time [default: now]
    #[arg(long, value_name = "TIME")]
    until: Option<WhenWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Exposure {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let (zone, now) = (session.zone(&site).await?, session.now());
        let from = when::instant(self.from, zone, now)?;
        let ask = v1::GetExposureRequest {
            site,
            enclosure: self.enclosure.unwrap_or_default(),
            from: Some(from.unwrap_or_else(|| timestamp(now - TimeDelta::days(1)))),
            until: Some(when::instant(self.until, zone, now)?.unwrap_or_else(|| timestamp(now))),
            as_known_at: self.as_known_at.instant(zone, now)?,
        };
        errand.show(&Exposures::new(session.ask(ask).await?, zone))
    }
}
