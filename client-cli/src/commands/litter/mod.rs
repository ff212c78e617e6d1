//! `holt litter`

mod correct;
mod event;
mod identify;
mod read;
mod record;

pub(crate) use record::sire;

use crate::errand::{Errand, Outcome, nothing_of, the_one};
use crate::failure::Failure;
use crate::session::Session;
use clap::{Args, Subcommand};
use holt_proto::notation::counts;
use holt_proto::v1;

/// Litters: young animals, counted until each is identified
#[derive(Args, Debug)]
#[command(after_help = "\
Name a litter by its dam, or by its id, of which the beginning or end is enough. Counts are \
males.females.unknown, such as 0.0.4; a bare 4 is four of unknown sex. Animals counted in a litter are in \
the stock of the site.")]
pub(crate) struct Litter {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    List(read::List),
    Show(read::Show),
    Record(record::Record),
    Died(event::Died),
    Sexed(event::Sexed),
    Found(event::Found),
    Identify(identify::Identify),
    Withdraw(correct::Withdraw),
    Parents(correct::Parents),
}

impl Litter {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::List(command) => command.run(errand).await,
            What::Show(command) => command.run(errand).await,
            What::Record(command) => command.run(errand).await,
            What::Died(command) => command.run(errand).await,
            What::Sexed(command) => command.run(errand).await,
            What::Found(command) => command.run(errand).await,
            What::Identify(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::Parents(command) => command.run(errand).await,
        }
    }
}

/// Reads `1.2.0`, or `4` for four of unknown sex.
fn young(text: &str) -> Result<v1::Counts, String> {
    match text.parse() {
        Ok(unknown) => Ok(v1::Counts { males: 0, females: 0, unknown }),
        Err(_) => counts::parse(text).map_err(|error| error.to_string()),
    }
}

/// The litter that is meant: the one of a dam that has young left, else the only one of that dam, else the
/// one of an identifier.
pub(super) async fn find(session: &Session, site: &str, text: &str) -> Result<v1::Litter, Failure> {
    let ask = v1::ListLittersRequest { site: site.to_owned(), also_empty: true, ..Default::default() };
    let litters = session.all(ask, usize::MAX).await?;
    let wanted = text.trim();
    let of_dam: Vec<&v1::Litter> = litters
        .iter()
        .filter(|litter| {
            litter.dam.as_ref().is_some_and(|dam| {
                [&dam.house_name, &dam.accession, &dam.id]
                    .iter()
                    .any(|name| name.eq_ignore_ascii_case(wanted))
            })
        })
        .collect();
    let left = |litter: &&&v1::Litter| {
        let left = litter.remaining.unwrap_or_default();
        left.males + left.females + left.unknown > 0
    };
    let with_young: Vec<&&v1::Litter> = of_dam.iter().filter(left).collect();
    match (with_young.as_slice(), of_dam.as_slice()) {
        ([only], _) => return Ok((**only).clone()),
        ([], [only]) => return Ok((*only).clone()),
        ([], []) => {}
        _ => {
            return Err(Failure::refused(
                format!("`{text}` is the dam of {} litters", of_dam.len()),
                "name the litter by its id: `holt litter list --all`",
            ));
        }
    }
    let found = the_one("litter", text, &litters, |litter| &litter.id)?;
    found.cloned().ok_or_else(|| nothing_of("litter", text, "holt litter list --all"))
}
