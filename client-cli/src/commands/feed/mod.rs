//! `holt feed`

mod food;
mod give;
mod left;
mod look;
mod plan;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};
use holt_proto::notation::mass;
use holt_proto::v1;

/// What animals are to be given, what they were given, and what they left
#[derive(Args, Debug)]
#[command(after_help = "\
What a group was given is the group's and is never divided among its members; an animal's own is only what it \
was given alone. Needs are worked out from mass alone: judge a ration by the weights that follow it.")]
pub(crate) struct Feed {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Show(look::Show),
    Give(give::Give),
    AsPlanned(give::AsPlanned),
    Left(left::Left),
    Withdraw(left::Withdraw),
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
            What::Left(command) => command.run(errand).await,
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
