//! `holt protocol`

use super::kept::{Load, Reference, list, reference};
use crate::errand::{Errand, Input, Outcome};
use crate::views::protocol::Protocol as View;
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Welfare protocols
#[derive(Args, Debug)]
pub(crate) struct Protocol {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Load a version of a protocol from a TOML file; a version, once loaded, never changes
    #[command(after_help = "\
Examples:
  holt protocol load small-carnivore.toml --check-only
  holt protocol load small-carnivore.toml")]
    Load(Load),
    /// List the protocols, all versions
    #[command(after_help = "Examples:\n  holt protocol list")]
    List,
    /// Show the indicators of a protocol, and what can be found on each
    #[command(
        after_help = "Examples:\n  holt protocol show small-carnivore\n  holt protocol show small-carnivore@1"
    )]
    Show {
        /// Code of the protocol [default version: the newest]
        #[arg(value_name = "CODE[@VERSION]", value_parser = reference)]
        protocol: Reference,
    },
}

impl Protocol {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Load(file) => {
                let say = |one: &View| format!("Loaded {} ({}).", one.title, one.spoken());
                file.run::<v1::Protocol>(errand, Input::text, say).await
            }
            What::List => list::<v1::Protocol>(errand).await,
            What::Show { protocol } => protocol.show::<v1::Protocol>("protocol", errand).await,
        }
    }
}
