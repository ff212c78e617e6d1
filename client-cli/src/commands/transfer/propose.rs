//! `holt transfer propose`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::moment::{DayWord, WhenWord};
use crate::profile::site_code;
use crate::session::request_id;
use crate::views::Told;
use crate::views::transfer::Transfer as View;
use crate::words;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Propose to move an animal to another site
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt transfer propose Bramble --to MER --terms ownership-passes \\
    --planned 2026-03-20 --because \"to pair with Fern\"
  holt transfer propose Sedge --to MER --terms loan --loan-until 2027-03-01 \\
    --because \"breeding loan\"

A move that is recorded later has the times at which it happened, from the proposal on:
  holt transfer propose Sedge --to MER --terms ownership-passes \\
    --at 2026-03-13 --because \"to pair with Rowan\"")]
pub(super) struct Propose {
    /// The animal
    animal: String,
    /// Site that it goes to
    #[arg(long, value_name = "CODE")]
    to: String,
    /// Whether ownership passes with it
    #[arg(long, value_parser = words::parser::<v1::TransferTerms>())]
    terms: v1::TransferTerms,
    /// Why it moves
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Day on which the move is planned
    #[arg(long, value_name = "DAY")]
    planned: Option<DayWord>,
    /// Last day of a loan
    #[arg(long, value_name = "DAY")]
    loan_until: Option<DayWord>,
    /// For an animal that another owns, and not the destination: who agreed for the owner, and when
    #[arg(long, value_name = "TEXT")]
    owner_agreed: Option<String>,
    /// When you proposed it [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Propose {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let zones = session.zones().await?;
        let today = session.today(zones.of(&site));
        let (proposed_at, proposed_on) = when::moment(self.at, zones.of(&site), session.now())?;
        let ask = v1::ProposeTransferRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            to_site: site_code(&self.to)?,
            terms: self.terms.into(),
            loan_until: self.loan_until.map(|on| day(on.resolve(today))),
            planned_on: self.planned.map(|on| day(on.resolve(today))),
            why: self.because,
            validate_only: self.check_only,
            owner_agreed: self.owner_agreed.unwrap_or_default(),
            proposed_at,
            proposed_on,
        };
        let thing = View::new(session.ask(ask).await?.transfer.unwrap_or_default(), &zones);
        errand.show(&Told::new(thing, self.check_only, View::told))
    }
}
