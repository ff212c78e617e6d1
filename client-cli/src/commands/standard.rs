//! `holt standard`

use super::kept::{Load, Reference, list, reference};
use super::when;
use crate::errand::{Errand, Input, Outcome};
use crate::exit::Exit;
use crate::views::standard::{Answers, Standard as View};
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;

/// Standards: clauses of laws, and how the records answer them
#[derive(Args, Debug)]
pub(crate) struct Standard {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Load a version of a standard from a TOML file; a version, once loaded, never changes
    #[command(after_help = "\
Examples:
  holt standard load eu-zoos-directive.toml --check-only
  holt standard load eu-zoos-directive.toml
  holt standard load house-rules.toml --own")]
    Load(Load),
    /// List the recorded standards, all versions
    #[command(after_help = "Examples:\n  holt standard list")]
    List,
    /// Show the clauses of a standard, what Holt looks at for each, and what no record can show
    #[command(after_help = "\
Examples:
  holt standard show eu-zoos-directive
  holt standard show eu-zoos-directive@1")]
    Show {
        /// Code of the standard [default version: the newest]
        #[arg(value_name = "CODE[@VERSION]", value_parser = reference)]
        standard: Reference,
    },
    Answer(Answer),
}

/// Answer each clause of a standard from the records of the site, with every exception by name
#[derive(Args, Debug)]
#[command(after_help = "\
An answer is met, short, no evidence or not applicable. Not computed means that Holt does not look at that \
evidence. The worst come first. With the same days and the same --as-known-at, the answers are always the same.

Examples:
  holt standard answer eu-zoos-directive --year 2025
  holt standard answer eu-zoos-directive --from 2026-01-01 --format csv
  holt standard answer eu-zoos-directive@1 --year 2025 \\
    --as-known-at 2026-01-15T12:00Z
  holt standard answer qui-house-rules --ask || echo \"something is short\"")]
struct Answer {
    /// Code of the standard [default version: the one by which the site works]
    #[arg(value_name = "CODE[@VERSION]", value_parser = reference)]
    standard: Reference,
    #[command(flatten)]
    period: when::Period,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// Most exceptions of each clause [default: 20]
    #[arg(long, value_name = "NUMBER", default_value_t = 20, hide_default_value = true)]
    #[arg(value_parser = clap::value_parser!(i32).range(1..=1000))]
    exceptions: i32,
    /// Exit with 10 if a clause is short or has no evidence
    #[arg(long)]
    ask: bool,
}

impl Standard {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Load(file) => {
                let say = |one: &View| format!("Recorded {} ({}).", one.title, one.spoken());
                file.run::<v1::Standard>(errand, Input::text, say).await
            }
            What::List => list::<v1::Standard>(errand).await,
            What::Show { standard } => standard.show::<v1::Standard>("standard", errand).await,
            What::Answer(command) => command.run(errand).await,
        }
    }
}

impl Answer {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let today = session.today(zone);
        let (first, last) = self.period.days(today)?;
        let ask = v1::AnswerStandardRequest {
            site,
            standard: self.standard.code,
            version: self.standard.version,
            days: Some(v1::DaySpan { first: Some(day(first)), last: Some(day(last)) }),
            as_known_at: self.as_known_at.instant(zone, session.now())?,
            max_exceptions: self.exceptions,
        };
        let answers = Answers::new(session.ask(ask).await?, zone);
        errand.show(&answers)?;
        Ok(if self.ask && answers.any_lacking() { Exit::No } else { Exit::Done })
    }
}
