//! `holt transfer`

mod packet;
mod propose;
mod read;
mod step;

use crate::errand::{Errand, Outcome, nothing_of, the_one};
use crate::failure::Failure;
use crate::session::Session;
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Transfers: moves of an animal between two sites in Holt
#[derive(Args, Debug)]
#[command(after_help = "\
The sender proposes, the destination agrees, the sender dispatches, the destination receives. A veterinary \
surgeon of either site may withhold the move until it is released.")]
pub(crate) struct Transfer {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    List(read::List),
    Show(read::Show),
    Packet(packet::Packet),
    Propose(propose::Propose),
    Agree(step::Agree),
    Refuse(step::Refuse),
    Cancel(step::Cancel),
    Dispatch(step::Dispatch),
    Receive(step::Receive),
    Loss(step::Loss),
    Withhold(step::Withhold),
    Release(step::Release),
}

impl Transfer {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::List(command) => command.run(errand).await,
            What::Show(command) => command.run(errand).await,
            What::Packet(command) => command.run(errand).await,
            What::Propose(command) => command.run(errand).await,
            What::Agree(command) => command.run(errand).await,
            What::Refuse(command) => command.run(errand).await,
            What::Cancel(command) => command.run(errand).await,
            What::Dispatch(command) => command.run(errand).await,
            What::Receive(command) => command.run(errand).await,
            What::Loss(command) => command.run(errand).await,
            What::Withhold(command) => command.run(errand).await,
            What::Release(command) => command.run(errand).await,
        }
    }
}

/// The transfer that is meant: an open one, else one that is over.
async fn find(session: &Session, id: &str) -> Result<v1::Transfer, Failure> {
    for open_only in [true, false] {
        let ask = v1::ListTransfersRequest { open_only, ..Default::default() };
        let transfers = session.all(ask, usize::MAX).await?;
        if let Some(transfer) = the_one("transfer", id, &transfers, |transfer| &transfer.id)? {
            return Ok(transfer.clone());
        }
    }
    Err(nothing_of("transfer", id, "holt transfer list"))
}
