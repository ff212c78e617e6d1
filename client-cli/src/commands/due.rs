//! `holt due`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::moment::DayWord;
use crate::views::due::Due as View;
use crate::words;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// List what is due or overdue, longest overdue first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt due
  holt due --duty weigh --on tomorrow
  holt due --ask || echo \"something is overdue\"")]
pub(crate) struct Due {
    /// As of this day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// One duty only
    #[arg(long, value_parser = words::parser::<v1::Duty>())]
    duty: Option<v1::Duty>,
    /// Exit with 10 if anything is overdue
    #[arg(long)]
    ask: bool,
}

impl Due {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListDueRequest {
            site: site.clone(),
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            duty: self.duty.unwrap_or_default().into(),
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let answer = session.ask(ask).await?;
        let due = View::new(site, answer);
        errand.show(&due)?;
        Ok(if self.ask && due.any_overdue() { Exit::No } else { Exit::Done })
    }
}
