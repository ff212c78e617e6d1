//! `holt proposal`

use super::when;
use crate::errand::{Errand, Outcome, id_part, nothing_of, the_one};
use crate::failure::Failure;
use crate::session::{Session, request_id};
use crate::views::proposal::Proposal as View;
use crate::views::{Many, Told};
use crate::words;
use chrono_tz::Tz;
use clap::{Args, Subcommand};
use holt_proto::v1;
use holt_proto::v1::propose_change_request::Change;
use std::path::PathBuf;

/// Propose changes of what all sites share, and answer proposals
#[derive(Args, Debug)]
pub(crate) struct Proposal {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Propose a new version of a shared document
    #[command(after_help = "\
`holt species update --propose` proposes a change of a species.

Examples:
  holt proposal document protocol small-carnivore.toml \\
    --because \"the gait was missing\"")]
    Document {
        /// Kind of document
        #[arg(value_parser = words::parser::<v1::DocumentKind>())]
        kind: v1::DocumentKind,
        /// The file; - is standard input
        file: PathBuf,
        /// Why
        #[arg(long, value_name = "TEXT")]
        because: String,
        /// Check everything and record nothing
        #[arg(long)]
        check_only: bool,
    },
    /// Accept a proposal, as the curator: Holt makes the change for all sites
    #[command(after_help = "Examples:\n  holt proposal accept 0000002a")]
    Accept {
        /// The proposal: its id, or the beginning or end of it
        #[arg(value_name = "ID", value_parser = id_part)]
        id: String,
        /// Remark
        #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
        note: String,
    },
    /// Decline a proposal, as the curator, with the reason
    #[command(after_help = "Examples:\n  holt proposal decline 0000002a --because \"not listed\"")]
    Decline {
        /// The proposal: its id, or the beginning or end of it
        #[arg(value_name = "ID", value_parser = id_part)]
        id: String,
        /// Why
        #[arg(long, value_name = "TEXT")]
        because: String,
    },
    /// Withdraw an open proposal of your own site
    #[command(after_help = "Examples:\n  holt proposal withdraw 0000002a --because \"another species\"")]
    Withdraw {
        /// The proposal: its id, or the beginning or end of it
        #[arg(value_name = "ID", value_parser = id_part)]
        id: String,
        /// Why
        #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
        because: String,
    },
    /// List the proposals of your site, the oldest first
    #[command(after_help = "Examples:\n  holt proposal list --open\n  holt proposal list --all-sites")]
    List {
        /// Only those that nobody has answered
        #[arg(long)]
        open: bool,
        /// Those of all sites, for the curator
        #[arg(long)]
        all_sites: bool,
        #[command(flatten)]
        as_known_at: when::AsKnownAt,
    },
}

/// Proposes a change, as the site.
pub(super) async fn propose(
    errand: &mut Errand<'_>,
    change: Change,
    because: String,
    check_only: bool,
) -> Outcome {
    let (site, zone) = errand.here().await?;
    let ask = v1::ProposeChangeRequest {
        request_id: request_id(),
        site,
        change: Some(change),
        because,
        validate_only: check_only,
    };
    let proposal = errand.session.ask(ask).await?.proposal;
    show(errand, proposal, zone, check_only)
}

fn show(errand: &mut Errand<'_>, proposal: Option<v1::Proposal>, zone: Tz, check_only: bool) -> Outcome {
    let thing = View::new(proposal.unwrap_or_default(), zone);
    errand.show(&Told::new(thing, check_only, View::spoken))
}

/// The proposal that is meant by its id, or a part of it.
async fn find(session: &Session, site: &str, text: &str) -> Result<String, Failure> {
    let ask = v1::ListProposalsRequest { site: site.to_owned(), ..Default::default() };
    let all = session.all(ask, usize::MAX).await?;
    let found = the_one("proposal", text, &all, |one| &one.id)?;
    Ok(found.ok_or_else(|| nothing_of("proposal", text, "holt proposal list"))?.id.clone())
}

impl Proposal {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Document { kind, file, because, check_only } => {
                let toml = errand.input.text(&file)?;
                let document = v1::ProposedDocument { kind: kind.into(), toml };
                propose(errand, Change::Document(document), because, check_only).await
            }
            What::Accept { id, note } => {
                let proposal_id = find(&errand.session, "", &id).await?;
                let ask = v1::AcceptProposalRequest { request_id: request_id(), proposal_id, note };
                let proposal = errand.session.ask(ask).await?.proposal;
                show(errand, proposal, Tz::UTC, false)
            }
            What::Decline { id, because } => {
                let proposal_id = find(&errand.session, "", &id).await?;
                let ask = v1::DeclineProposalRequest { request_id: request_id(), proposal_id, because };
                let proposal = errand.session.ask(ask).await?.proposal;
                show(errand, proposal, Tz::UTC, false)
            }
            What::Withdraw { id, because } => {
                let site = errand.site().await?;
                let proposal_id = find(&errand.session, &site, &id).await?;
                let zone = errand.session.zone(&site).await?;
                let ask =
                    v1::WithdrawProposalRequest { request_id: request_id(), site, proposal_id, because };
                let proposal = errand.session.ask(ask).await?.proposal;
                show(errand, proposal, zone, false)
            }
            What::List { open, all_sites, as_known_at } => {
                let site = if all_sites { String::new() } else { errand.site().await? };
                let session = &errand.session;
                let zone = if all_sites { Tz::UTC } else { session.zone(&site).await? };
                let as_known_at = as_known_at.instant(zone, session.now())?;
                let ask = v1::ListProposalsRequest { site, open_only: open, as_known_at, page: None };
                let all = session.all(ask, usize::MAX).await?;
                errand.show(&Many(all.into_iter().map(|one| View::new(one, zone)).collect()))
            }
        }
    }
}
