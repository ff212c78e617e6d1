//! `holt amendment`

use super::correct::Change;
use super::{history, merge, when};
use crate::errand::{Errand, Outcome, id_part, nothing_of, the_one};
use crate::failure::Failure;
use crate::moment::DayWord;
use crate::session::{Session, request_id};
use crate::views::amendment::Amendment as View;
use crate::views::{Many, Told};
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;
use v1::propose_amendment_request::Change as Asked;

/// Propose changes of an animal's record to another site, and answer proposals
#[derive(Args, Debug)]
pub(crate) struct Amendment {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Propose(Box<Propose>),
    Died(Died),
    Merge(Merge),
    WithdrawMerge(WithdrawMerge),
    Accept(Accept),
    Decline(Decline),
    Withdraw(Withdraw),
    List(List),
}

impl Amendment {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Propose(command) => (*command).run(errand).await,
            What::Died(command) => command.run(errand).await,
            What::Merge(command) => command.run(errand).await,
            What::WithdrawMerge(command) => command.run(errand).await,
            What::Accept(command) => command.run(errand).await,
            What::Decline(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::List(command) => command.run(errand).await,
        }
    }
}

/// Shows an amendment after something was done with it.
async fn show(
    errand: &mut Errand<'_>,
    amendment: Option<v1::Amendment>,
    site: &str,
    check_only: bool,
) -> Outcome {
    let thing = View::new(amendment.unwrap_or_default(), errand.session.zone(site).await?);
    errand.show(&Told::new(thing, check_only, View::spoken))
}

/// Proposes a change of an animal's record, and shows the amendment.
async fn propose(
    errand: &mut Errand<'_>,
    site: String,
    animal: String,
    change: Asked,
    (because, check_only): (String, bool),
) -> Outcome {
    let ask = v1::ProposeAmendmentRequest {
        request_id: request_id(),
        site: site.clone(),
        animal,
        because,
        validate_only: check_only,
        change: Some(change),
    };
    let amendment = errand.session.ask(ask).await?.amendment;
    show(errand, amendment, &site, check_only).await
}

/// What the site knows of an animal.
async fn known(session: &Session, site: &str, animal: &str) -> Result<v1::GetHistoryResponse, Failure> {
    let ask =
        v1::GetHistoryRequest { site: site.to_owned(), animal: animal.to_owned(), ..Default::default() };
    history::get(session, ask).await
}

/// The amendment that is meant by its id, or a part of it.
async fn find(session: &Session, site: &str, text: &str) -> Result<String, Failure> {
    let ask = v1::ListAmendmentsRequest { site: site.to_owned(), ..Default::default() };
    let all = session.all(ask, usize::MAX).await?;
    let found = the_one("amendment", text, &all, |one| &one.id)?;
    Ok(found.ok_or_else(|| nothing_of("amendment", text, "holt amendment list"))?.id.clone())
}

/// Propose to correct a fact, or to withdraw it
#[derive(Args, Debug)]
#[command(after_help = "\
`holt history` shows the facts of an animal and their ids.

Examples:
  holt amendment propose Bramble 0000002a --born 2021-04 \\
    --because \"our birth sheet\"
  holt amendment propose Bramble 0000003c --withdraw \\
    --because \"that chip was never implanted\"")]
struct Propose {
    /// The animal
    animal: String,
    /// The fact: its id, or the beginning or end of it
    #[arg(value_name = "FACT", value_parser = id_part)]
    fact: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    #[command(flatten)]
    change: Change,
    /// It was never so: withdraw it
    #[arg(long, conflicts_with = "Change")]
    withdraw: bool,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Propose {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let (zone, now) = (session.zone(&site).await?, session.now());
        let known = known(session, &site, &self.animal).await?;
        let fact = the_one("fact", &self.fact, &known.facts, |fact| &fact.id)?;
        let list = format!("holt history {}", self.animal);
        let fact_id = fact.ok_or_else(|| nothing_of("fact that stands", &self.fact, &list))?.id.clone();
        let change = if self.withdraw {
            Asked::WithdrawnFactId(fact_id)
        } else {
            let change = Some(self.change.read(zone, now)?);
            Asked::Correction(Box::new(v1::ProposedCorrection { fact_id, change }))
        };
        propose(errand, site, known.animal_id, change, (self.because, self.check_only)).await
    }
}

/// Propose to record a death
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt amendment died Bramble --on 2026-03-01 --manner natural \\
    --because \"seen on our loan visit\"")]
struct Died {
    /// The animal
    animal: String,
    /// Day of death
    #[arg(long, value_name = "DAY")]
    on: DayWord,
    /// How it died
    #[arg(long, value_parser = words::parser::<v1::DeathManner>())]
    manner: v1::DeathManner,
    /// What was seen or found
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    note: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Died {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let today = session.today(session.zone(&site).await?);
        let death = v1::ProposedDeath {
            died_on: Some(day(self.on.resolve(today))),
            found_on: None,
            manner: self.manner.into(),
            note: self.note,
        };
        let change = Asked::Death(death);
        propose(errand, site, self.animal, change, (self.because, self.check_only)).await
    }
}

/// Propose that another site has a record of the same animal
#[derive(Args, Debug)]
#[command(after_help = "\
Only that site knows whether it has such a record: Holt looks the name up when the site accepts. Until it \
answers, that site may read the record of your animal. Your records stay as they are.

Examples:
  holt amendment merge Bramble BRA 985000000000017 \\
    --because \"their vet read our chip\"")]
struct Merge {
    /// The animal, of your site
    animal: String,
    /// Code of the other site
    #[arg(value_name = "SITE")]
    other_site: String,
    /// What that site calls the animal: accession, transponder, ring, house name or id
    theirs: String,
    /// How you found that they are one animal
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Merge {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let change = Asked::Merge(v1::ProposedMerge { site: self.other_site, animal: self.theirs });
        propose(errand, site, self.animal, change, (self.because, self.check_only)).await
    }
}

/// Propose to withdraw a merge of an animal that another site holds
#[derive(Args, Debug)]
#[command(after_help = "\
`holt history` shows the merges that your site sees, `holt amendment list` those that your site proposed or accepted.

Examples:
  holt amendment withdraw-merge Bramble 0000002a \\
    --because \"ours has a notch, theirs has not\"")]
struct WithdrawMerge {
    /// The animal, as your site calls it
    animal: String,
    /// The merge, or the amendment that made it: its id, or the beginning or end of it
    #[arg(value_name = "MERGE", value_parser = id_part)]
    merge: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl WithdrawMerge {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let known = known(session, &site, &self.animal).await?;
        let ask = v1::ListAmendmentsRequest { site: site.clone(), ..Default::default() };
        let amendments = session.all(ask, usize::MAX).await?;
        let merges = known.facts.into_iter().filter(|fact| fact.kind() == v1::FactKind::Merge);
        let ids: Vec<String> =
            merges.map(|fact| fact.id).chain(amendments.into_iter().map(|one| one.id)).collect();
        let found = the_one("merge", &self.merge, &ids, |id| id)?;
        let found = found.ok_or_else(|| nothing_of("merge", &self.merge, "holt amendment list"))?;
        let change = Asked::WrongMergeId(found.clone());
        propose(errand, site, self.animal, change, (self.because, self.check_only)).await
    }
}

/// Accept a proposal: Holt makes the change in the name of your site
#[derive(Args, Debug)]
#[command(after_help = "\
In a merge, your record stays and replaces the other. Holt lists facts that contradict one another, as `holt \
merge` does. The other site keeps its records. Only its birth, death, parents, sex and marks can be set \
aside for yours.

Examples:
  holt amendment accept 0000002a
  holt amendment accept 0000002a --check-only
  holt amendment accept 0000003c --animal Rook --stands birth=QUI-25-0007")]
struct Accept {
    /// The amendment: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    id: String,
    /// Remark
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    note: String,
    /// For a merge, your record of the animal [default: the one that the proposal names]
    #[arg(long, value_name = "ANIMAL", default_value = "", hide_default_value = true)]
    animal: String,
    /// For a merge, a fact that stands where two contradict one another: kind and record, or the id of the fact
    #[arg(long, value_name = "KIND=RECORD|ID", value_parser = merge::stands)]
    stands: Vec<v1::Resolution>,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Accept {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let ask = v1::AcceptAmendmentRequest {
            request_id: request_id(),
            site: site.clone(),
            amendment_id: find(&errand.session, &site, &self.id).await?,
            note: self.note,
            validate_only: self.check_only,
            animal: self.animal,
            resolve: self.stands,
        };
        let amendment = errand.session.ask(ask).await?.amendment;
        show(errand, amendment, &site, self.check_only).await
    }
}

/// Decline a proposal, with the reason
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt amendment decline 0000002a --because \"the chip reads fine\"")]
struct Decline {
    /// The amendment: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    id: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
}

impl Decline {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let ask = v1::DeclineAmendmentRequest {
            request_id: request_id(),
            site: site.clone(),
            amendment_id: find(&errand.session, &site, &self.id).await?,
            because: self.because,
        };
        let amendment = errand.session.ask(ask).await?.amendment;
        show(errand, amendment, &site, false).await
    }
}

/// Withdraw an open proposal of your own site
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt amendment withdraw 0000002a --because \"another animal\"")]
struct Withdraw {
    /// The amendment: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    id: String,
    /// Why
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    because: String,
}

impl Withdraw {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let ask = v1::WithdrawAmendmentRequest {
            request_id: request_id(),
            site: site.clone(),
            amendment_id: find(&errand.session, &site, &self.id).await?,
            because: self.because,
        };
        let amendment = errand.session.ask(ask).await?.amendment;
        show(errand, amendment, &site, false).await
    }
}

/// List proposals that your site made, answered or must answer, oldest first
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt amendment list --open
  holt amendment list --animal Bramble --format csv")]
struct List {
    /// Only those of this animal
    #[arg(long, value_name = "ANIMAL", default_value = "", hide_default_value = true)]
    animal: String,
    /// Only those that nobody has answered
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl List {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListAmendmentsRequest {
            site,
            animal: self.animal,
            open_only: self.open,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
            page: None,
        };
        let all = session.all(ask, usize::MAX).await?;
        errand.show(&Many(all.into_iter().map(|one| View::new(one, zone)).collect()))
    }
}
