//! `holt find`

use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::views::find::{Found, Match};
use clap::Args;
use holt_proto::v1;

/// Find an animal by transponder, ring, accession or name, or a part of one
#[derive(Args, Debug)]
#[command(after_help = "\
The last digits of a transponder are enough, or the serial of an accession, or a part of a name. Holt \
searches all your sites, dead and departed animals included. Exact matches come first, then those that begin \
or end so, then those that contain it.

Examples:
  holt find 985112000123456
  holt find 3456
  holt find bram
  holt find QUI-25-0001 --format json")]
pub(crate) struct Find {
    /// A name, a number, or a part of one
    #[arg(required = true, num_args = 1.., value_name = "TEXT")]
    text: Vec<String>,
    /// Show at most N
    #[arg(long, value_name = "NUMBER", default_value_t = 20, value_parser = clap::value_parser!(i32).range(1..=100))]
    limit: i32,
}

impl Find {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let zones = session.zones().await?;
        let text = self.text.join(" ");
        let ask = v1::FindAnimalsRequest { text: text.clone(), most: self.limit };
        let answer = session.ask(ask).await?;
        if answer.matches.is_empty() {
            return Err(Failure::not_found(
                format!("no animal that you may see has `{text}` in a name or number"),
                "try fewer characters, or see `holt animal list`",
            ));
        }
        let found = answer.matches.into_iter().map(|one| Match::new(one, &zones)).collect();
        errand.show(&Found { found, more: answer.more })
    }
}
