//! `holt enrich give`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::moment::WhenWord;
use crate::session::request_id;
use crate::views::enrichment::Given;
use crate::words;
use clap::Args;
use holt_proto::v1;

/// Record that something was offered to a group, or in an enclosure
#[derive(Args, Debug)]
#[command(after_help = "\
Holt lists what speaks against the offer and records it all the same, because it was made.

Examples:
  holt enrich give \"Puzzle box\" --group \"Weir family\" --at 09:30
  holt enrich give Herbs --in \"Otter pool\" --met used --minutes 12")]
pub(super) struct Give {
    /// The item: its name, or its id
    item: String,
    #[command(flatten)]
    to: To,
    /// When it was offered [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    /// Response of the animal that did most
    #[arg(long, value_name = "HOW", value_parser = words::parser::<v1::EnrichmentResponse>())]
    met: Option<v1::EnrichmentResponse>,
    /// Minutes for which any animal used it
    #[arg(long, value_name = "MINUTES", requires = "met", value_parser = clap::value_parser!(i32).range(0..=10_080))]
    minutes: Option<i32>,
    /// Remarks
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

/// To whom something was offered.
#[derive(Args, Debug)]
#[group(required = true, multiple = false)]
struct To {
    /// To a group: its name, or its id
    #[arg(long, value_name = "GROUP")]
    group: Option<String>,
    /// To all who live in an enclosure
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
}

impl Give {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let to = match (self.to.group, self.to.enclosure) {
            (Some(group), _) => v1::new_enrichment_offer::To::Group(group),
            (None, name) => v1::new_enrichment_offer::To::Enclosure(name.unwrap_or_default()),
        };
        let offer = v1::NewEnrichmentOffer {
            to: Some(to),
            item: self.item,
            given_at: when::instant(self.at, zone, session.now())?,
            response: self.met.unwrap_or_default().into(),
            used_minutes: self.minutes,
            note: self.note.unwrap_or_default(),
        };
        let ask = v1::RecordEnrichmentRequest { request_id: request_id(), site, offers: vec![offer] };
        let given = Given::new(session.ask(ask).await?, zone);
        errand.show(&given)
    }
}
