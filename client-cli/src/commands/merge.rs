//! `holt merge`

use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::session::request_id;
use crate::views::animal::Animal as View;
use crate::views::{Told, count};
use crate::words::Word;
use clap::{Args, Subcommand};
use holt_proto::v1;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Merge two records that are of one animal
#[derive(Args, Debug)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
#[command(after_help = "\
A merge links two records and changes no fact of either. While the link stands, the id and accessions of the \
record given up mean the record that stays. Holt lists facts that contradict one another: name the one that \
stands, by kind and record or by id. The other is set aside. It stands again if you withdraw the merge.

Examples:
  holt merge QUI-25-0001 QUI-25-0007 --because \"same transponder, read twice\"
  holt merge QUI-25-0001 QUI-25-0007 --because \"same scars\" --check-only
  holt merge QUI-25-0001 QUI-25-0007 --because \"same scars\" \\
    --stands birth=QUI-25-0007")]
pub(crate) struct Merge {
    #[command(subcommand)]
    what: Option<What>,
    #[command(flatten)]
    two: Option<Two>,
}

#[derive(Debug, Subcommand)]
enum What {
    Withdraw(Withdraw),
}

/// The two records, and what is done with them.
#[derive(Args, Debug)]
struct Two {
    /// The record that stays
    keep: String,
    /// The record that is given up
    give_up: String,
    /// How you found that they are one animal
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// The fact that stands if two contradict one another: kind and record, or its id
    #[arg(long, value_name = "KIND=RECORD|ID", value_parser = stands)]
    stands: Vec<v1::Resolution>,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Merge {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match (self.what, self.two) {
            (Some(What::Withdraw(withdraw)), _) => withdraw.run(errand).await,
            (None, Some(two)) => two.run(errand).await,
            (None, None) => {
                Err(Failure::usage("no records given", "name the record that stays, and the other"))
            }
        }
    }
}

impl Two {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::MergeAnimalsRequest {
            request_id: request_id(),
            site,
            keep: self.keep,
            give_up: self.give_up.clone(),
            because: self.because,
            keep_version: 0,
            give_up_version: 0,
            validate_only: self.check_only,
            resolve: self.stands,
        };
        let answer = session.ask(ask).await?;
        let thing = View::new(answer.animal.unwrap_or_default(), zone);
        let joined = count(usize::try_from(answer.joined).unwrap_or(0), "fact joined it", "facts joined it");
        let say = format!(
            "{} is {} from now on: {joined}. {} To withdraw the merge: holt merge withdraw {} {}",
            self.give_up,
            thing.spoken(),
            set_aside(&answer.set_aside),
            thing.accession,
            answer.merge_id
        );
        errand.show(&Told::new(thing, self.check_only, |_| say))
    }
}

/// `birth=QUI-25-0007`, or the identifier of a fact.
pub(super) fn stands(text: &str) -> Result<v1::Resolution, String> {
    if text.parse::<Uuid>().is_ok() {
        return Ok(v1::Resolution { fact_id: text.to_owned(), ..Default::default() });
    }
    let parts = text.split_once('=').map(|(kind, record)| (v1::FactKind::of(kind.trim()), record.trim()));
    match parts {
        Some((Some(kind), record)) if !record.is_empty() => {
            Ok(v1::Resolution { kind: kind.into(), record: record.to_owned(), ..Default::default() })
        }
        _ => Err("not a kind and a record; write `birth=QUI-25-0007`, or the id of the fact".to_owned()),
    }
}

/// What a merge sets aside, by kind and record.
fn set_aside(facts: &[v1::NamedFact]) -> String {
    if facts.is_empty() {
        return "Nothing is set aside.".to_owned();
    }
    let mut by_name: BTreeMap<String, usize> = BTreeMap::new();
    for fact in facts {
        *by_name.entry(format!("{} of {}", fact.kind().word(), fact.record)).or_default() += 1;
    }
    let spoken =
        by_name.into_iter().map(|(name, many)| if many == 1 { name } else { format!("{name} ({many})") });
    format!("Set aside: {}.", spoken.collect::<Vec<_>>().join(", "))
}

/// Withdraw a merge: the records are of two animals again
#[derive(Args, Debug)]
#[command(after_help = "\
Each record has its own facts again. Facts recorded since the merge stay with the record under which the \
animal was held then. Merges can be withdrawn in any order.

Examples:
  holt merge withdraw QUI-25-0001 0190a1b2-0000-7000-8000-00000000002a \\
    --because \"two animals after all\"")]
struct Withdraw {
    /// The animal
    animal: String,
    /// The merge: its id, as `holt merge` and `holt history` show it
    merge: Uuid,
    /// Why it was wrong
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// The fact that stands if records that stay linked contradict one another, as in `holt merge`
    #[arg(long, value_name = "KIND=RECORD|ID", value_parser = stands)]
    stands: Vec<v1::Resolution>,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Withdraw {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::UnmergeAnimalsRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            merge_id: self.merge.to_string(),
            because: self.because,
            version: 0,
            validate_only: self.check_only,
            resolve: self.stands,
        };
        let answer = session.ask(ask).await?;
        let [kept, given_up] = [answer.kept, answer.given_up].map(|one| one.map(|one| View::new(one, zone)));
        let spoken = |one: &Option<View>| match one {
            Some(one) => one.spoken(),
            None => "the animal of the other site".to_owned(),
        };
        let say = format!("{} and {} are two animals again.", spoken(&kept), spoken(&given_up));
        let thing = given_up.or(kept).unwrap_or_else(|| View::new(v1::Animal::default(), zone));
        errand.show(&Told::new(thing, self.check_only, |_| say))
    }
}
