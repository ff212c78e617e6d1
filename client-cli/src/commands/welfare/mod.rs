//! `holt welfare`

mod list;

use super::kept::{Reference, reference};
use super::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::moment::DayWord;
use crate::views::agreement::Agreement;
use crate::views::course::Course;
use crate::views::unassessed::Unassessed;
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;

/// Welfare assessments of a site: list them, and compare them over time
#[derive(Args, Debug)]
pub(crate) struct Welfare {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    List(list::List),
    Course(CourseOf),
    Agreement(AgreementOf),
    Unassessed(UnassessedAt),
}

/// Show the grades of an animal over time, domain by domain
#[derive(Args, Debug)]
#[command(after_help = "\
Holt calls a domain better only after the indicators that were bad were assessed again.

Examples:
  holt welfare course Bramble
  holt welfare course Bramble --from 2025-01-01 --protocol small-carnivore")]
struct CourseOf {
    /// The animal: house name, accession, transponder, ring or id
    animal: String,
    /// Only this protocol
    #[arg(long, value_name = "CODE")]
    protocol: Option<String>,
    #[command(flatten)]
    days: when::Days,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

/// Show how far observers agree who assessed the same animals
#[derive(Args, Debug)]
#[command(after_help = "\
Levels and grades are compared by weighted kappa, measured values by the six forms of the intraclass \
correlation, each with its 95 % interval. Fewer than ten pairs give no figure.

Examples:
  holt welfare agreement small-carnivore
  holt welfare agreement small-carnivore@2 --within 1 --from 2025-01-01")]
struct AgreementOf {
    /// Code of the protocol [default version: the one by which the site works]
    #[arg(value_name = "CODE[@VERSION]", value_parser = reference)]
    protocol: Reference,
    /// Most days between two assessments that count as one occasion [default: the same day]
    #[arg(long, value_name = "DAYS", default_value_t = 0, hide_default_value = true)]
    #[arg(value_parser = clap::value_parser!(i32).range(0..=14))]
    within: i32,
    #[command(flatten)]
    days: when::Days,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

/// List animals and groups that were not assessed in time
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt welfare unassessed
  holt welfare unassessed --within 30 --on 2026-02-28
  holt welfare unassessed --ask || echo \"somebody was forgotten\"")]
struct UnassessedAt {
    /// Days within which each animal is to be assessed [default: 90]
    #[arg(long, value_name = "DAYS", default_value_t = 90, hide_default_value = true)]
    #[arg(value_parser = clap::value_parser!(i32).range(1..=730))]
    within: i32,
    /// As of this day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Exit with 10 if there is any
    #[arg(long)]
    ask: bool,
}

impl Welfare {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::List(list) => list.run(errand).await,
            What::Course(course) => course.run(errand).await,
            What::Agreement(agreement) => agreement.run(errand).await,
            What::Unassessed(unassessed) => unassessed.run(errand).await,
        }
    }
}

impl CourseOf {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::GetWelfareCourseRequest {
            site,
            animal: self.animal,
            days: self.days.span(session.today(zone))?,
            protocol: self.protocol.unwrap_or_default(),
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let answer = session.ask(ask).await?;
        errand.show(&Course::from(answer))
    }
}

impl AgreementOf {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::CompareObserversRequest {
            site,
            protocol: self.protocol.code,
            protocol_version: self.protocol.version,
            days: self.days.span(session.today(zone))?,
            within_days: self.within,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let answer = session.ask(ask).await?;
        errand.show(&Agreement::from(answer))
    }
}

impl UnassessedAt {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let as_of = match self.on {
            None => None,
            Some(on) => Some(day(on.resolve(session.today(session.zone(&site).await?)))),
        };
        let ask = v1::ListUnassessedRequest { site: site.clone(), within_days: self.within, as_of };
        let told = Unassessed::new(site, session.ask(ask).await?);
        errand.show(&told)?;
        Ok(if self.ask && told.any() { Exit::No } else { Exit::Done })
    }
}
