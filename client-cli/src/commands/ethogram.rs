//! `holt ethogram`

use super::document::in_use;
use super::kept::{Load, Reference, all, list, reference};
use crate::errand::{Errand, Input, Outcome};
use crate::failure::Failure;
use crate::session::Session;
use crate::views::ethogram::Ethogram as View;
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Ethograms: the behaviours to observe
#[derive(Args, Debug)]
pub(crate) struct Ethogram {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Load a version of an ethogram from a TOML file; a version, once loaded, never changes
    #[command(after_help = "\
Examples:
  holt ethogram load small-carnivore.toml --check-only
  holt ethogram load small-carnivore.toml")]
    Load(Load),
    /// List the ethograms, all versions
    #[command(after_help = "Examples:\n  holt ethogram list")]
    List,
    /// Show the behaviours of an ethogram, and what counts as each
    #[command(
        after_help = "Examples:\n  holt ethogram show small-carnivore\n  holt ethogram show small-carnivore@1"
    )]
    Show {
        /// Code of the ethogram [default version: the newest]
        #[arg(value_name = "CODE[@VERSION]", value_parser = reference)]
        ethogram: Reference,
    },
}

/// The ethogram that is meant; where none is named, the only one there is. Without a version the one by which
/// the site works.
pub(super) async fn find(
    session: &Session,
    site: &str,
    wanted: Option<&Reference>,
) -> Result<v1::Ethogram, Failure> {
    let all = all(session).await?;
    let wanted = match wanted {
        Some(wanted) => wanted.clone(),
        None => Reference { code: only(&all)?, version: 0 },
    };
    let wanted = in_use(session, site, v1::DocumentKind::Ethogram, &wanted, None).await?;
    wanted.among("ethogram", all)
}

/// The code of the only ethogram there is.
fn only(all: &[v1::Ethogram]) -> Result<String, Failure> {
    let mut codes: Vec<&str> = all.iter().map(|ethogram| ethogram.code.as_str()).collect();
    codes.dedup();
    match codes.as_slice() {
        [only] => Ok((*only).to_owned()),
        [] => Err(Failure::not_found(
            "there is no ethogram: nothing says what to observe",
            "ask the curator to load one: `holt ethogram load`",
        )),
        several => Err(Failure::usage(
            format!("no ethogram named (there are {})", several.join(", ")),
            "name the ethogram: --by CODE",
        )),
    }
}

impl Ethogram {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Load(file) => {
                let say = |one: &View| format!("Loaded {} ({}).", one.title, one.spoken());
                file.run::<v1::Ethogram>(errand, Input::text, say).await
            }
            What::List => list::<v1::Ethogram>(errand).await,
            What::Show { ethogram } => ethogram.show::<v1::Ethogram>("ethogram", errand).await,
        }
    }
}
