//! `holt encounter`

mod limits;
mod look;
mod record;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};

/// Encounters of animals with the public, and the limits that are kept
#[derive(Args, Debug)]
#[command(after_help = "\
Limits are those that you set; none are built in. A week is any seven days on end. Which limits an encounter \
breaks is told as it is recorded, and with --check-only before it is held.")]
pub(crate) struct Encounter {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Left(look::Left),
    Record(record::Record),
    Withdraw(record::Withdraw),
    List(look::List),
    Limit(limits::Limit),
    Limits(limits::Limits),
}

impl Encounter {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Left(command) => command.run(errand).await,
            What::Record(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::List(command) => command.run(errand).await,
            What::Limit(command) => command.run(errand).await,
            What::Limits(command) => command.run(errand).await,
        }
    }
}
