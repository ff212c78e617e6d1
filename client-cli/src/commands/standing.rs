//! `holt standing`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::{DayWord, WhenWord};
use crate::views::standing::Standing as View;
use clap::Args;
use holt_proto::v1;

/// Show who gives way to whom in a group, who is with whom, and what each does with its time
#[derive(Args, Debug)]
#[command(after_help = "\
The figures are from the watches of the group (`holt watch`): David's scores and Elo-ratings from interactions \
that one of two clearly won, rates for each hour in which the animal was watched, with the interval that so \
few events leave open. What was not seen is told as not seen.

Examples:
  holt standing \"Weir family\"
  holt standing \"Weir family\" --from 2026-01-01 --to 2026-02-28
  holt standing \"Weir family\" --format json")]
pub(crate) struct Standing {
    /// The group: its name, or its id
    group: String,
    /// First day whose watches count; 105 days ago, unless given
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day; today, unless given
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
    /// As was known at this time; now, unless given
    #[arg(long, value_name = "TIME")]
    as_known_at: Option<WhenWord>,
}

impl Standing {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let zone = session.zone(&site).await?;
        let ask = v1::GetStandingRequest {
            site,
            group: self.group,
            days: when::span(self.from, self.to, session.today(zone))?,
            as_known_at: when::instant(self.as_known_at, zone, session.now())?,
        };
        let view = View::new(session.ask(ask).await?, zone);
        errand.show(&view)
    }
}
