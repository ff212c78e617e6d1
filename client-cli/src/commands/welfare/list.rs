//! `holt welfare list`

use super::when;
use crate::errand::{Errand, Outcome};
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
    #[command(flatten)]
    days: when::Days,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListAssessmentsRequest {
            site,
            animal: self.animal.unwrap_or_default(),
            days: self.days.span(session.today(zone))?,
            page: None,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let found = session.all(ask, usize::MAX).await?;
        errand.show(&Many(found.into_iter().map(|one| Assessment::new(one, zone)).collect()))
    }
}
