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
Ages and times let Holt refuse a parent that cannot be one; leave them out where they are not known.

Examples:
  holt species add \"Lontra canadensis\" \"North American river otter\"
  holt species add \"Aonyx cinereus\" \"Asian small-clawed otter\" \\
    --breeds-from 365 --carries-up-to 74")]
    Add {
        /// Scientific name: a capital genus and one or two lower-case epithets
        scientific_name: String,
        /// Name as people say it
        common_name: String,
        /// Age in days from which it can be a parent
        #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=36600))]
        breeds_from: Option<i32>,
        /// Longest time in days from mating to birth
        #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=3660))]
        carries_up_to: Option<i32>,
    },
    /// List all species on record
    #[command(after_help = "Examples:\n  holt species list")]
    List,
}

impl Species {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Add { scientific_name, common_name, breeds_from, carries_up_to } => {
                let ask = v1::CreateTaxonRequest {
                    request_id: request_id(),
                    scientific_name,
                    common_name,
                    breeds_from_days: breeds_from.unwrap_or_default(),
                    carries_up_to_days: carries_up_to.unwrap_or_default(),
                };
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
