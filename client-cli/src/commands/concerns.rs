//! `holt concerns`

use crate::errand::{Errand, Outcome};
use crate::views::concern::{Concern, Concerns as View};
use clap::Args;
use holt_proto::v1;

/// List the open concerns, worst first, with the numbers that raised them
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt concerns
  holt concerns --animal Bramble --settled
  holt concerns --all-sites --format csv")]
pub(crate) struct Concerns {
    /// Of one animal
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
    /// Settled ones, too
    #[arg(long)]
    settled: bool,
    /// At all your sites, whichever is meant otherwise
    #[arg(long)]
    all_sites: bool,
}

impl Concerns {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = if self.all_sites { String::new() } else { errand.named_site().unwrap_or_default() };
        let zones = session.zones().await?;
        let ask = v1::ListConcernsRequest {
            site,
            animal: self.animal.unwrap_or_default(),
            include_settled: self.settled,
            page: None,
        };
        let mut caution = String::new();
        let concerns = session.pages(ask, usize::MAX, |page| page.caution.clone_into(&mut caution)).await?;
        let concerns = concerns.into_iter().map(|concern| Concern::new(concern, &zones)).collect();
        errand.show(&View { concerns, caution })
    }
}
