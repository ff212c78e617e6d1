//! `holt encounter`

mod limits;
mod look;
mod record;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};

/// Encounters of animals with the public, and their limits
#[derive(Args, Debug)]
#[command(after_help = "\
You set the limits; Holt has none of its own. A week is any seven consecutive days. Holt reports which \
limits an encounter breaks when you record it, and with --check-only beforehand.")]
pub(crate) struct Encounter {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Allowance(look::Allowance),
    Record(record::Record),
    Withdraw(record::Withdraw),
    List(look::List),
    Limit(limits::Limit),
    Limits(limits::Limits),
}

impl Encounter {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Allowance(command) => command.run(errand).await,
            What::Record(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::List(command) => command.run(errand).await,
            What::Limit(command) => command.run(errand).await,
            What::Limits(command) => command.run(errand).await,
        }
    }
}
