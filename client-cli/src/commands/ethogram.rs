//! `holt ethogram`

use super::document::in_use;
use super::protocol::{Reference, reference};
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::session::{Session, request_id};
use crate::views::ethogram::{Ethogram as View, Shown};
use crate::views::{CHECKED_ONLY, Many, Told};
use clap::{Args, Subcommand};
use holt_proto::v1;
use std::path::PathBuf;

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
    Load {
        /// The file; - is standard input
        file: PathBuf,
        /// As one of the site's own: its code begins with the site's, such as qui-
        #[arg(long)]
        own: bool,
        /// Check everything and record nothing
        #[arg(long)]
        check_only: bool,
    },
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
    let all = session.ask(v1::ListEthogramsRequest {}).await?.ethograms;
    let wanted = match wanted {
        Some(wanted) => wanted.clone(),
        None => Reference { code: only(&all)?, version: 0 },
    };
    let wanted = in_use(session, site, v1::DocumentKind::Ethogram, &wanted, None).await?;
    named(all, &wanted)
}

fn named(all: Vec<v1::Ethogram>, wanted: &Reference) -> Result<v1::Ethogram, Failure> {
    wanted.meant("ethogram", all, |ethogram| (&ethogram.code, ethogram.version))
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
            What::Load { file, own, check_only } => {
                let site = if own { errand.site().await? } else { String::new() };
                let toml = errand.input.text(&file)?;
                let ask = v1::LoadEthogramRequest {
                    request_id: request_id(),
                    toml,
                    validate_only: check_only,
                    site,
                };
                let thing = View::from(errand.session.ask(ask).await?.ethogram.unwrap_or_default());
                let say = if check_only {
                    CHECKED_ONLY.to_owned()
                } else {
                    format!("Loaded {} ({}).", thing.title, thing.spoken())
                };
                errand.show(&Told { thing, say })
            }
            What::List => {
                let ethograms = errand.session.ask(v1::ListEthogramsRequest {}).await?.ethograms;
                errand.show(&Many(ethograms.into_iter().map(View::from).collect()))
            }
            What::Show { ethogram } => {
                let all = errand.session.ask(v1::ListEthogramsRequest {}).await?.ethograms;
                errand.show(&Shown(named(all, &ethogram)?.into()))
            }
        }
    }
}
