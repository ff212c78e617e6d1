//! `holt protocol`

use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::session::{Session, request_id};
use crate::views::protocol::{Protocol as View, Shown};
use crate::views::{CHECKED_ONLY, Many, Told};
use clap::{Args, Subcommand};
use holt_proto::v1;
use std::path::PathBuf;

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

/// A protocol as it is named: code, and version or 0 for the newest.
#[derive(Clone, Debug)]
pub(super) struct Reference {
    pub(super) code: String,
    pub(super) version: i32,
}

/// Reads `small-carnivore@1`.
pub(super) fn reference(text: &str) -> Result<Reference, String> {
    let (code, version) = match text.split_once('@') {
        None => (text, 0),
        Some((code, version)) => {
            let version = version.parse().ok().filter(|version| *version > 0);
            (code, version.ok_or_else(|| "the version is a number from 1: `small-carnivore@1`".to_owned())?)
        }
    };
    Ok(Reference { code: code.to_owned(), version })
}

impl Reference {
    /// The one that is meant of all versions of protocols, or of whatever `what` says.
    pub(super) fn meant<T>(
        &self,
        what: &str,
        all: Vec<T>,
        told: impl Fn(&T) -> (&str, i32),
    ) -> Result<T, Failure> {
        let fits = |one: &T| {
            let (code, version) = told(one);
            code == self.code && (self.version == 0 || version == self.version)
        };
        let newest = all.into_iter().filter(fits).max_by_key(|one| told(one).1);
        newest.ok_or_else(|| {
            let version =
                if self.version == 0 { String::new() } else { format!(", version {}", self.version) };
            Failure::not_found(
                format!("there is no {what} `{}`{version}", self.code),
                format!("see `holt {what} list`"),
            )
        })
    }
}

/// The protocol that is meant.
pub(super) async fn find(session: &Session, wanted: &Reference) -> Result<v1::Protocol, Failure> {
    let all = session.ask(v1::ListProtocolsRequest {}).await?.protocols;
    wanted.meant("protocol", all, |protocol| (&protocol.code, protocol.version))
}

impl Protocol {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Load { file, own, check_only } => {
                let site = if own { errand.site().await? } else { String::new() };
                let toml = errand.input.text(&file)?;
                let ask = v1::LoadProtocolRequest {
                    request_id: request_id(),
                    toml,
                    validate_only: check_only,
                    site,
                };
                let thing = View::from(errand.session.ask(ask).await?.protocol.unwrap_or_default());
                let say = if check_only {
                    CHECKED_ONLY.to_owned()
                } else {
                    format!("Loaded {} ({}).", thing.title, thing.spoken())
                };
                errand.show(&Told { thing, say })
            }
            What::List => {
                let protocols = errand.session.ask(v1::ListProtocolsRequest {}).await?.protocols;
                errand.show(&Many(protocols.into_iter().map(View::from).collect()))
            }
            What::Show { protocol } => {
                let found = find(&errand.session, &protocol).await?;
                errand.show(&Shown(found.into()))
            }
        }
    }
}
