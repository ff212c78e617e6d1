//! `holt enclosure`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::enclosure::Enclosure as View;
use crate::views::{Many, Told};
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Places at a site where animals live
#[derive(Args, Debug)]
pub(crate) struct Enclosure {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Add an enclosure
    #[command(after_help = "\
Examples:
  holt enclosure add \"Otter pool\" --kind outdoor --capacity 6
  holt enclosure add \"Night house\" --kind indoor")]
    Add {
        /// Name, unique at the site
        name: String,
        /// Whether it is under a roof
        #[arg(long, value_parser = words::parser::<v1::EnclosureKind>())]
        kind: v1::EnclosureKind,
        /// How many animals it is meant for at most
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(i32).range(1..))]
        capacity: Option<i32>,
    },
    /// List the enclosures of a site, with how many animals live in each
    #[command(after_help = "Examples:\n  holt enclosure list\n  holt enclosure list --site MER")]
    List,
}

impl Enclosure {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        match self.what {
            What::Add { name, kind, capacity } => {
                let ask = v1::CreateEnclosureRequest {
                    request_id: request_id(),
                    site,
                    name,
                    kind: kind.into(),
                    capacity: capacity.unwrap_or_default(),
                };
                let answer = errand.session.ask(ask).await?;
                let thing = View::from(answer.enclosure.unwrap_or_default());
                let say = format!("{} is an enclosure of {} now.", thing.name, thing.site);
                errand.show(&Told { thing, say })
            }
            What::List => {
                let answer = errand.session.ask(v1::ListEnclosuresRequest { site }).await?;
                errand.show(&Many(answer.enclosures.into_iter().map(View::from).collect()))
            }
        }
    }
}
