//! `holt feed`

mod food;
mod give;
mod leftovers;
mod look;
mod plan;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};
use holt_proto::notation::mass;
use holt_proto::v1;

/// Feeding: foods, plans, what was given and what was left over
#[derive(Args, Debug)]
#[command(after_help = "\
Holt never divides food of a group among its members; an animal's own food is what it was given alone. Needs \
are calculated from weight alone: judge a ration by the weights that follow it.")]
pub(crate) struct Feed {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Show(look::Show),
    Give(give::Give),
    AsPlanned(give::AsPlanned),
    Leftovers(leftovers::Leftovers),
    Withdraw(leftovers::Withdraw),
    List(look::List),
    Plan(plan::Plan),
    Food(food::Food),
    Foods(food::Foods),
}

impl Feed {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Show(command) => command.run(errand).await,
            What::Give(command) => command.run(errand).await,
            What::AsPlanned(command) => command.run(errand).await,
            What::Leftovers(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::List(command) => command.run(errand).await,
            What::Plan(command) => command.run(errand).await,
            What::Food(command) => command.run(errand).await,
            What::Foods(command) => command.run(errand).await,
        }
    }
}

/// Reads a mass with its unit.
fn amount(text: &str) -> Result<v1::Mass, mass::MassError> {
    Ok(v1::Mass { milligrams: mass::parse(text, None)? })
}
