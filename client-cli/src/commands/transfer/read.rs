//! `holt transfer list`, `holt transfer show`

use super::find;
use crate::commands::when;
use crate::errand::{Errand, Outcome, id_part};
use crate::views::Many;
use crate::views::transfer::Transfer as View;
use clap::Args;
use holt_proto::v1;

/// List transfers from or to the site named, or any of yours, newest first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt transfer list --open
  holt transfer list --site QUI --format csv")]
pub(super) struct List {
    /// Only open ones
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let zones = session.zones().await?;
        let site = errand.named_site().unwrap_or_default();
        let as_known_at = self.as_known_at.instant(zones.of(&site), session.now())?;
        let ask = v1::ListTransfersRequest { site, open_only: self.open, page: None, as_known_at };
        let transfers = session.all(ask, usize::MAX).await?;
        errand.show(&Many(transfers.into_iter().map(|one| View::new(one, &zones)).collect()))
    }
}

/// Show a transfer, its steps and what is missing
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt transfer show 0000002a")]
pub(super) struct Show {
    /// The transfer: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    id: String,
}

impl Show {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let transfer = find(&errand.session, &self.id).await?;
        let zones = errand.session.zones().await?;
        errand.show(&View::new(transfer, &zones))
    }
}
