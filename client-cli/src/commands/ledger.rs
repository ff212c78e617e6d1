//! `holt ledger`

use super::history;
use crate::errand::{Errand, Outcome, most, nothing_of, the_one};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::proof;
use crate::session::Session;
use crate::views::ledger::{Proved, Seal as View, Verified};
use crate::views::{Many, Told, count};
use clap::{Args, Subcommand};
use holt_audit::seal::Link;
use holt_proto::v1;
use std::path::PathBuf;
use uuid::Uuid;

/// Show that nobody changed history: verify the ledger, keep its seals, prove records
#[derive(Args, Debug)]
pub(crate) struct Ledger {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Verify(Verify),
    Seal(Seal),
    Seals(Seals),
    Prove(Prove),
}

/// Compare the records with the ledger, and the ledger with its seals
#[derive(Args, Debug)]
#[command(after_help = "\
Holt hashes every row and every entry again. The exit code is 10 if anything does not agree. Whoever can \
write to the database without Holt can also remake seals. Only a seal kept elsewhere shows that: keep one \
(`holt ledger seal --print`) and verify against it.

Examples:
  holt ledger verify
  holt ledger verify --site QUI --format json
  holt ledger verify --all-sites --against seal-2026-03.txt")]
struct Verify {
    /// A seal that was kept, as `holt ledger seal --print` wrote it; `-` is standard input
    #[arg(long, value_name = "FILE")]
    against: Option<PathBuf>,
    /// Everything, not only the site in use
    #[arg(long)]
    all_sites: bool,
}

/// Put everything recorded until now under a seal
#[derive(Args, Debug)]
#[command(after_help = "\
Holt seals entries in the background. This command seals them at once, so that the seal you keep covers everything.

Examples:
  holt ledger seal
  holt ledger seal --print > seal-2026-03.txt")]
struct Seal {
    /// Print the seal as it is kept on paper, in each format
    #[arg(long)]
    print: bool,
}

/// List the seals, newest first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt ledger seals --limit 10
  holt ledger seals --format csv > seals.csv")]
struct Seals {
    /// Show only the newest N
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    limit: Option<u32>,
}

/// Prove that a record is under a seal, and check the proof here
#[derive(Args, Debug)]
#[command(after_help = "\
`holt history` lists the ids of records. With --format json the whole proof \
is printed, to be kept or checked elsewhere.

Examples:
  holt ledger prove Bramble 0000002a
  holt ledger prove Bramble 0190a1b2-0000-7000-8000-00000000002a --under 12")]
struct Prove {
    /// The animal that the record is about
    animal: String,
    /// The record: its id, or the beginning or end of it as `holt history` shows it
    record: String,
    /// The seal to prove it under [default: the newest]
    #[arg(long, value_name = "SEAL", value_parser = clap::value_parser!(i64).range(1..))]
    under: Option<i64>,
}

impl Ledger {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Verify(command) => command.run(errand).await,
            What::Seal(command) => command.run(errand).await,
            What::Seals(command) => command.run(errand).await,
            What::Prove(command) => command.run(errand).await,
        }
    }
}

impl Verify {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let kept = match &self.against {
            None => None,
            Some(path) => {
                let text = String::from_utf8_lossy(&errand.input.file(path)?).into_owned();
                let kept: Link = text.parse().map_err(|error| {
                    Failure::usage(
                        format!("{} holds no seal: {error}", path.display()),
                        "give the text as `holt ledger seal --print` wrote it",
                    )
                })?;
                Some(kept)
            }
        };
        let site = if self.all_sites { None } else { errand.site_if_clear().await? }.unwrap_or_default();
        let session = &errand.session;
        let mut answer = session.ask(v1::VerifyLedgerRequest { site: site.clone() }).await?;
        let newest = proof::link(answer.newest.take())?;
        let kept = match kept {
            None => None,
            Some(kept) => {
                let flaw = flaw_of(session, &kept).await?;
                Some((kept, flaw))
            }
        };
        let kept = kept.as_ref().map(|(kept, flaw)| (kept, flaw.clone()));
        let verified = Verified::new(site, answer, &newest, kept);
        errand.show(&verified)?;
        Ok(if verified.agrees() { Exit::Done } else { Exit::No })
    }
}

/// What does not fit a seal that was kept; none where the newest seal continues it.
async fn flaw_of(session: &Session, kept: &Link) -> Result<Option<String>, Failure> {
    let older = i64::try_from(kept.sequence).unwrap_or(i64::MAX);
    match session.ask(v1::GetConsistencyProofRequest { older, newer: 0 }).await {
        Ok(answer) => {
            let (told, newer) = (proof::link(answer.older)?, proof::link(answer.newer)?);
            Ok(proof::continues(kept, &told, &newer, &answer.path).err())
        }
        Err(failure) if failure.exit == Exit::NotFound => {
            Ok(Some("the ledger no longer has it: it was cut off, with everything after it".to_owned()))
        }
        Err(failure) if failure.reason() == "LEDGER_BROKEN" => Ok(Some(failure.say)),
        Err(failure) => Err(failure),
    }
}

impl Seal {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let answer = errand.session.ask(v1::SealLedgerRequest {}).await?;
        let link = proof::link(answer.seal)?;
        if self.print {
            errand.output.raw(format!("{link}\n").as_bytes())?;
            return Ok(Exit::Done);
        }
        let new = count(usize::try_from(answer.sealed).unwrap_or(0), "entry", "entries");
        let thing = View::from(&link);
        let all = count(usize::try_from(link.seal.size).unwrap_or(0), "entry", "entries");
        let say = format!("Seal {} is over {all}. Put under a seal just now: {new}.", thing.seal);
        errand.show(&Told { thing, say })
    }
}

impl Seals {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let limit = most(self.limit);
        let seals = errand.session.all(v1::ListSealsRequest::default(), limit).await?;
        let links: Vec<Link> =
            seals.into_iter().map(|seal| proof::link(Some(seal))).collect::<Result<_, _>>()?;
        errand.show(&Many(links.iter().map(View::from).collect()))
    }
}

/// The id of the fact about an animal that a part of it means.
async fn fact(session: &Session, site: &str, animal: &str, text: &str) -> Result<String, Failure> {
    let ask =
        v1::GetHistoryRequest { site: site.to_owned(), animal: animal.to_owned(), ..Default::default() };
    let known = history::get(session, ask).await?;
    let found = the_one("record", text, &known.facts, |fact| &fact.id)?;
    let list = format!("holt history {animal}");
    Ok(found.ok_or_else(|| nothing_of("record that stands", text, &list))?.id.clone())
}

impl Prove {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let record = match self.record.parse::<Uuid>() {
            Ok(id) => id.to_string(),
            Err(_) => fact(session, &site, &self.animal, &self.record).await?,
        };
        let ask = v1::GetInclusionProofRequest {
            site: site.clone(),
            animal: self.animal,
            record_id: record.clone(),
            seal: self.under.unwrap_or(0),
        };
        let mut answer = session.ask(ask).await?;
        let link = proof::link(answer.seal.take())?;
        let flaw = proof::included(&answer, &record, &link).err();
        let proved = Proved::new(answer, &link, flaw, session.zone(&site).await?);
        errand.show(&proved)?;
        Ok(if proved.holds() { Exit::Done } else { Exit::No })
    }
}
