//! `holt condition`

use super::drawn::Drawn;
use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::views::condition::{Condition as View, Records};
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Show weight, body condition and food of an animal, week by week
#[derive(Args, Debug)]
#[command(after_help = "\
Body condition is the indicator `body-condition` of assessments, on the scale of their protocol. Food is \
what the animal was given alone; food of a group is not divided among its members.

The chart shows the median weight of each week, and a number at each change of body condition.

Examples:
  holt condition Bramble
  holt condition Bramble --chart
  holt condition Bramble --from 2026-01-01 --format csv")]
pub(crate) struct Condition {
    /// The animal
    animal: String,
    /// First day [default: half a year ago]
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day [default: today]
    #[arg(long, value_name = "DAY", requires = "from")]
    to: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    #[command(flatten)]
    drawn: Drawn,
}

/// Days that are shown, unless others are asked for: half a year.
const USUAL_DAYS: u64 = 26 * 7 - 1;

impl Condition {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let today = session.today(zone);
        let days = match when::span(self.from, self.to, today)? {
            Some(days) => days,
            None => v1::DaySpan {
                first: Some(day(today - chrono::Days::new(USUAL_DAYS))),
                last: Some(day(today)),
            },
        };
        let as_known_at = self.as_known_at.instant(zone, session.now())?;
        let weights = v1::ListWeightsRequest {
            site: site.clone(),
            animal: self.animal.clone(),
            days: Some(days),
            page: None,
            as_known_at,
        };
        let assessments = v1::ListAssessmentsRequest {
            site: site.clone(),
            animal: self.animal.clone(),
            days: Some(days),
            page: None,
            as_known_at,
        };
        let feeds = v1::ListFeedsRequest {
            site,
            animal: self.animal.clone(),
            days: Some(days),
            as_known_at,
            ..Default::default()
        };
        let records = Records {
            weights: session.all(weights, usize::MAX).await?,
            assessments: session.all(assessments, usize::MAX).await?,
            feeds: session.all(feeds, usize::MAX).await?,
        };
        let view = View::new(self.animal, &records, zone);
        if self.drawn.is_wanted() {
            return self.drawn.show(errand, &view.chart(days));
        }
        errand.show(&view)
    }
}
