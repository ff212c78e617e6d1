//! `holt animal`

mod fate;
mod mistake;
mod parents;
mod read;
mod register;

pub(crate) use register::Marks;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};

/// Animals: arrivals, births, departures, deaths and what is known of each
#[derive(Args, Debug)]
pub(crate) struct Animal {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    List(read::List),
    Show(read::Show),
    Born(register::Born),
    Arrived(register::Arrived),
    Sex(fate::Sex),
    Parents(parents::Parents),
    Died(fate::Died),
    PostMortem(fate::PostMortem),
    Departed(fate::Departed),
    Withdraw(mistake::Withdraw),
    Reinstate(mistake::Reinstate),
}

impl Animal {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::List(command) => command.run(errand).await,
            What::Show(command) => command.run(errand).await,
            What::Born(command) => command.run(errand).await,
            What::Arrived(command) => command.run(errand).await,
            What::Sex(command) => command.run(errand).await,
            What::Parents(command) => command.run(errand).await,
            What::Died(command) => command.run(errand).await,
            What::PostMortem(command) => command.run(errand).await,
            What::Departed(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::Reinstate(command) => command.run(errand).await,
        }
    }
}
