//! `holt welfare list`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::{DayWord, WhenWord};
use crate::views::Many;
use crate::views::assessment::Assessment;
use clap::Args;
use holt_proto::v1;

/// List the welfare assessments of an animal, or of a site, newest first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt welfare list Bramble
  holt welfare list --from 2026-01-01 --format json")]
pub(super) struct List {
    /// The animal [default: all of the site]
    animal: Option<String>,
    /// First day
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day [default: today]
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
    /// As known at this time [default: now]
    #[arg(long, value_name = "TIME")]
    as_known_at: Option<WhenWord>,
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListAssessmentsRequest {
            site,
            animal: self.animal.unwrap_or_default(),
            days: when::span(self.from, self.to, session.today(zone))?,
            page: None,
            as_known_at: when::instant(self.as_known_at, zone, session.now())?,
        };
        let found = session.all(ask, usize::MAX).await?;
        errand.show(&Many(found.into_iter().map(|one| Assessment::new(one, zone)).collect()))
    }
}
