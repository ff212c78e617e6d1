//! `holt assessments`

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
  holt assessments Bramble
  holt assessments --from 2026-01-01 --format json")]
pub(crate) struct Assessments {
    /// The animal; all of the site, unless given
    animal: Option<String>,
    /// First day
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day; today, unless given
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
    /// As was known at this time; now, unless given
    #[arg(long, value_name = "TIME")]
    as_known_at: Option<WhenWord>,
}

impl Assessments {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let zone = session.zone(&site).await?;
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
