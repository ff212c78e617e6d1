//! `holt concern`

mod list;

use crate::errand::{Errand, Outcome, id_part, nothing_of, the_one};
use crate::failure::Failure;
use crate::session::{Session, request_id};
use crate::views::Told;
use crate::views::concern::Concern as View;
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Concerns: list them, take them on, close them
#[derive(Args, Debug)]
pub(crate) struct Concern {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    List(list::List),
    /// Take on a concern: you are looking after it
    #[command(after_help = "\
Examples:
  holt concern take-on 0000002a --note \"teeth to be looked at on Tuesday\"")]
    TakeOn {
        /// The concern: its id, or the beginning or end of it
        #[arg(value_name = "ID", value_parser = id_part)]
        id: String,
        /// What you will do
        #[arg(long, value_name = "TEXT")]
        note: Option<String>,
        /// Refuse if it was changed since this version of it
        #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
        based_on: i64,
    },
    /// Close a concern, and say why
    #[command(after_help = "\
Close a concern about the weight of an animal or a group, or about growth, as one of three:
  false-alarm  nothing was wrong; the expected weight stays as it was
  treated      Holt compares the recovery with the old weight, and raises the
               concern again if the loss goes on
  new-normal   from now on Holt expects what the animal weighs now

Examples:
  holt concern close 0000002a --as treated --because \"tooth out, eats again\"
  holt concern close 0000002b --because \"the lamp was replaced\"")]
    Close {
        /// The concern: its id, or the beginning or end of it
        #[arg(value_name = "ID", value_parser = id_part)]
        id: String,
        /// For a concern about weight: what the records mean
        #[arg(long = "as", value_name = "MEANING", value_parser = words::parser::<v1::SettledAs>())]
        settled_as: Option<v1::SettledAs>,
        /// Why you close it
        #[arg(long, value_name = "TEXT")]
        because: String,
        /// Refuse if it was changed since this version of it
        #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
        based_on: i64,
    },
}

/// The concern that is meant: an open one, else a settled one.
async fn find(session: &Session, id: &str) -> Result<v1::Concern, Failure> {
    for include_settled in [false, true] {
        let ask = v1::ListConcernsRequest { include_settled, ..Default::default() };
        let concerns = session.all(ask, usize::MAX).await?;
        if let Some(concern) = the_one("concern", id, &concerns, |concern| &concern.id)? {
            return Ok(concern.clone());
        }
    }
    Err(nothing_of("concern", id, "holt concern list"))
}

impl Concern {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let concern = match self.what {
            What::List(list) => return list.run(errand).await,
            What::TakeOn { id, note, based_on } => {
                let found = find(session, &id).await?;
                let ask = v1::TakeUpConcernRequest {
                    request_id: request_id(),
                    site: found.site,
                    concern_id: found.id,
                    note: note.unwrap_or_default(),
                    version: based_on,
                };
                session.ask(ask).await?.concern
            }
            What::Close { id, settled_as, because, based_on } => {
                let found = find(session, &id).await?;
                let of_weight =
                    [v1::ConcernKind::WeightTrend, v1::ConcernKind::Growth, v1::ConcernKind::GroupWeight];
                if settled_as.is_none() && of_weight.contains(&found.kind()) {
                    return Err(Failure::usage(
                        "no meaning given: this concern is about weight",
                        "use --as false-alarm, --as treated or --as new-normal",
                    ));
                }
                let ask = v1::SettleConcernRequest {
                    request_id: request_id(),
                    site: found.site,
                    concern_id: found.id,
                    because,
                    version: based_on,
                    settled_as: settled_as.unwrap_or_default().into(),
                };
                session.ask(ask).await?.concern
            }
        };
        let thing = View::new(concern.unwrap_or_default(), &session.zones().await?);
        let state = thing.state.replace('-', " ");
        let say = format!("The concern about {} is {state}.", thing.spoken());
        errand.show(&Told { thing, say })
    }
}
