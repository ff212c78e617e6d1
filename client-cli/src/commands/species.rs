//! `holt species`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::species::Species as View;
use crate::views::{Many, Told};
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Species that animals can belong to
#[derive(Args, Debug)]
pub(crate) struct Species {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Add a species or subspecies
    #[command(after_help = "\
Examples:
  holt species add \"Lontra canadensis\" \"North American river otter\"")]
    Add {
        /// Scientific name: a capital genus and one or two lower-case epithets
        scientific_name: String,
        /// Name as people say it
        common_name: String,
    },
    /// List all species on record
    #[command(after_help = "Examples:\n  holt species list")]
    List,
}

impl Species {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Add { scientific_name, common_name } => {
                let ask = v1::CreateTaxonRequest { request_id: request_id(), scientific_name, common_name };
                let thing = View::from(errand.session.ask(ask).await?.taxon.unwrap_or_default());
                let say = format!("{}, {}, is on record.", thing.scientific_name, thing.common_name);
                errand.show(&Told { thing, say })
            }
            What::List => {
                let answer = errand.session.ask(v1::ListTaxaRequest {}).await?;
                errand.show(&Many(answer.taxa.into_iter().map(View::from).collect()))
            }
        }
    }
}
