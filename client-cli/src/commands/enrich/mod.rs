//! `holt enrich`

mod give;
mod item;
mod look;
mod plan;
mod seen;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};

/// Things to do and to find out: items, what was offered, how it was met, and a rota
#[derive(Args, Debug)]
#[command(after_help = "\
Offered is not used: what was seen is recorded with `holt enrich give` or, later, `holt enrich seen`. Energy of \
items counts to the ration of the group.")]
pub(crate) struct Enrich {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Show(look::Show),
    Plan(plan::Plan),
    Give(give::Give),
    Seen(seen::Seen),
    Withdraw(seen::Withdraw),
    List(look::List),
    Items(look::Items),
    Item(item::Item),
    Terms(item::Terms),
}

impl Enrich {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Show(command) => command.run(errand).await,
            What::Plan(command) => command.run(errand).await,
            What::Give(command) => command.run(errand).await,
            What::Seen(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::List(command) => command.run(errand).await,
            What::Items(command) => command.run(errand).await,
            What::Item(command) => command.run(errand).await,
            What::Terms(command) => command.run(errand).await,
        }
    }
}
