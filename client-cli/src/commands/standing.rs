//! `holt standing`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::views::standing::Standing as View;
use clap::Args;
use holt_proto::v1;

/// Show dominance in a group, who is with whom, and how each spends its time
#[derive(Args, Debug)]
#[command(after_help = "\
The figures come from observations of the group (`holt observe`): David's scores and Elo-ratings from \
interactions with a clear winner, and rates for each hour in which the animal was observed. Each rate has \
its 95 % interval. Holt shows what was not seen as not seen.

Examples:
  holt standing \"Weir family\"
  holt standing \"Weir family\" --from 2026-01-01 --to 2026-02-28
  holt standing \"Weir family\" --format json")]
pub(crate) struct Standing {
    /// The group: its name, or its id
    group: String,
    /// First day of the observations [default: 105 days ago]
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day [default: today]
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Standing {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::GetStandingRequest {
            site,
            group: self.group,
            days: when::span(self.from, self.to, session.today(zone))?,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let view = View::new(session.ask(ask).await?, zone);
        errand.show(&view)
    }
}
