//! `holt exchange`

mod archive;
mod from_sheet;

use crate::errand::{Errand, Outcome};
use crate::exchange::Entry;
use crate::exchange::send::send;
use crate::exit::Exit;
use crate::views::intake::Intake;
use clap::{Args, Subcommand};

/// Exchange records: add animals from a spreadsheet, export and import archives
#[derive(Args, Debug)]
pub(crate) struct Exchange {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    FromSheet(from_sheet::FromSheet),
    Export(archive::Export),
    Import(archive::Import),
}

impl Exchange {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::FromSheet(command) => command.run(errand).await,
            What::Export(command) => command.run(errand).await,
            What::Import(command) => command.run(errand).await,
        }
    }
}

/// Sends animals to be taken in, and shows what became of them.
async fn taken_in(errand: &mut Errand<'_>, site: &str, entries: Vec<Entry>, check_only: bool) -> Outcome {
    let sent = send(&errand.session, site, entries, check_only).await?;
    let intake = Intake::new(site, check_only, sent, &errand.session.zones().await?);
    errand.show(&intake)?;
    Ok(if intake.refused > 0 { Exit::Refused } else { Exit::Done })
}
