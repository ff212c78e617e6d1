//! `holt place`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::WhenWord;
use crate::session::request_id;
use crate::views::placement::Placed;
use clap::Args;
use holt_proto::v1;

/// Move animals into an enclosure of the site; all move, or none
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt place Bramble Sedge --in \"Otter pool\"
  holt place QUI-26-0003 --in \"Night house\" --at 16:30")]
pub(crate) struct Place {
    /// The animals
    #[arg(required = true, value_name = "ANIMAL")]
    animals: Vec<String>,
    /// The enclosure
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: String,
    /// When they moved [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
}

impl Place {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let placed_at = match self.at {
            None => None,
            at => when::instant(at, session.zone(&site).await?, session.now())?,
        };
        let ask = v1::PlaceAnimalsRequest {
            request_id: request_id(),
            site: site.clone(),
            animals: self.animals,
            enclosure: self.enclosure.clone(),
            placed_at,
        };
        let answer = session.ask(ask).await?;
        errand.show(&Placed::new(site, self.enclosure, answer))
    }
}
