//! `holt enrich`

mod give;
mod item;
mod look;
mod plan;
mod response;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};

/// Enrichment: items, offers, responses and a rota
#[derive(Args, Debug)]
#[command(after_help = "\
Offered is not used: record the response with `holt enrich give` or, later, with `holt enrich response`. \
Energy of items counts towards the ration of the group.")]
pub(crate) struct Enrich {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Show(look::Show),
    Plan(plan::Plan),
    Give(give::Give),
    Response(response::Response),
    Withdraw(response::Withdraw),
    List(look::List),
    Items(look::Items),
    Item(item::Item),
    Limits(item::Limits),
}

impl Enrich {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Show(command) => command.run(errand).await,
            What::Plan(command) => command.run(errand).await,
            What::Give(command) => command.run(errand).await,
            What::Response(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::List(command) => command.run(errand).await,
            What::Items(command) => command.run(errand).await,
            What::Item(command) => command.run(errand).await,
            What::Limits(command) => command.run(errand).await,
        }
    }
}
