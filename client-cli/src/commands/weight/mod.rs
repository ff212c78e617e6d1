//! `holt weight`

mod list;

use crate::errand::{Errand, Outcome, id_part, nothing_of, the_one};
use crate::failure::Failure;
use crate::session::request_id;
use crate::views::waiting::{Answered, Done};
use clap::{Args, Subcommand};
use holt_proto::v1;

/// List weights; accept or withdraw a reading that waits for a second weighing
#[derive(Args, Debug)]
pub(crate) struct Weight {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    List(list::List),
    /// Accept a reading that waits: it is right, and counts from its own time
    #[command(after_help = "\
You accept a reading that you recorded; a registrar accepts any. `holt due --duty weigh-again` lists the readings \
that wait. Correct a reading that was accepted by mistake with `holt correct`.

Examples:
  holt weight accept Larch --because \"weighed on the other scale as well\"
  holt weight accept Larch 0000002a --because \"she was ill all week\"")]
    Accept(Which),
    /// Withdraw a reading that waits: it was wrong, and no longer counts
    #[command(after_help = "\
You withdraw a reading that you recorded within the last 7 days; a registrar withdraws any. It stays in the history \
of the animal, with the reason.

Examples:
  holt weight withdraw Larch --because \"the crate was on the scale\"")]
    Withdraw(Which),
}

/// The reading that is meant.
#[derive(Args, Debug)]
struct Which {
    /// The animal: house name, accession, transponder, ring or id
    animal: String,
    /// The reading: its id, or the beginning or end of it [default: the latest that waits]
    #[arg(value_name = "ID", value_parser = id_part)]
    id: Option<String>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Which {
    /// The reading that waits.
    async fn find(&self, errand: &Errand<'_>, site: &str) -> Result<v1::Weight, Failure> {
        let ask = v1::ListWeightsRequest {
            site: site.to_owned(),
            animal: self.animal.clone(),
            ..Default::default()
        };
        let mut weights = errand.session.all(ask, usize::MAX).await?;
        weights.retain(|weight| weight.awaits_second);
        let list = "holt due --duty weigh-again";
        match &self.id {
            Some(id) => {
                let found = the_one("reading", id, &weights, |weight| &weight.id)?.cloned();
                found.ok_or_else(|| nothing_of("reading that waits", id, list))
            }
            None => weights.into_iter().next().ok_or_else(|| {
                let say = format!("no reading of {} waits for a second weighing", self.animal);
                Failure::not_found(say, format!("see `{list}`"))
            }),
        }
    }
}

impl Weight {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let (which, done) = match self.what {
            What::List(list) => return list.run(errand).await,
            What::Accept(which) => (which, Done::Accepted),
            What::Withdraw(which) => (which, Done::Withdrawn),
        };
        let site = errand.site().await?;
        let found = which.find(errand, &site).await?;
        let (animal, because, version) = (found.animal_id.clone(), which.because, which.based_on);
        let session = &errand.session;
        let concerns = match done {
            Done::Accepted => {
                let ask = v1::AcceptWeightRequest {
                    request_id: request_id(),
                    site,
                    animal,
                    weight_id: found.id.clone(),
                    because,
                    version,
                    validate_only: which.check_only,
                };
                session.ask(ask).await?.concerns
            }
            Done::Withdrawn => {
                let ask = v1::WithdrawFactRequest {
                    request_id: request_id(),
                    site,
                    animal,
                    fact_id: found.id.clone(),
                    because,
                    version,
                    validate_only: which.check_only,
                };
                session.ask(ask).await?.concerns
            }
        };
        let zones = session.zones().await?;
        errand.show(&Answered::new(found, done, !which.check_only, concerns, &zones))
    }
}
