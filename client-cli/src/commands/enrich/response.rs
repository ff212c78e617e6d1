//! `holt enrich response`, `holt enrich withdraw`

use crate::errand::{Errand, Outcome, id_part, lately};
use crate::failure::Failure;
use crate::session::{Session, request_id};
use crate::views::Told;
use crate::views::enrichment::Offer as View;
use crate::words;
use clap::Args;
use holt_proto::v1;

/// The identifier that a part of one means.
async fn find(session: &Session, site: &str, part: &str) -> Result<String, Failure> {
    let ask = |site, days| v1::ListEnrichmentOffersRequest { site, days: Some(days), ..Default::default() };
    lately(session, site, part, ("offer", "holt enrich list"), ask, |offer| &offer.id).await
}

/// Record the response to an offer, and how long it was used
#[derive(Args, Debug)]
#[command(after_help = "\
It replaces the earlier response. `holt enrich show` and `holt enrich list` show offers with their ids. For \
the last month, four characters from the beginning or end of an id are enough.

Examples:
  holt enrich response 0000002a used --minutes 12
  holt enrich response 0000002a ignored")]
pub(super) struct Response {
    /// The offer: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    offer: String,
    /// Response of the animal that did most
    #[arg(value_name = "HOW", value_parser = words::parser::<v1::EnrichmentResponse>())]
    met: v1::EnrichmentResponse,
    /// Minutes for which any animal used it
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(0..=10_080))]
    minutes: Option<i32>,
}

impl Response {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::RecordEnrichmentUseRequest {
            request_id: request_id(),
            offer_id: find(session, &site, &self.offer).await?,
            site,
            response: self.met.into(),
            used_minutes: self.minutes,
        };
        let thing = View::new(session.ask(ask).await?.offer.unwrap_or_default(), zone);
        let say = thing.spoken();
        errand.show(&Told { thing, say })
    }
}

/// Withdraw an offer that was not made
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt enrich withdraw 0000002a --because \"entered twice\"")]
pub(super) struct Withdraw {
    /// The offer: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    offer: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
}

impl Withdraw {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::WithdrawEnrichmentRequest {
            request_id: request_id(),
            offer_id: find(session, &site, &self.offer).await?,
            site,
            because: self.because,
        };
        let thing = View::new(session.ask(ask).await?.offer.unwrap_or_default(), zone);
        let say = format!("Withdrawn: {}", thing.spoken());
        errand.show(&Told { thing, say })
    }
}
