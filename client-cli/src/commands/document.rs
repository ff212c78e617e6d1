//! `holt document`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::moment::DayWord;
use crate::session::{Session, request_id};
use crate::views::document::Document as View;
use crate::views::{Many, Told};
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;

use super::kept::Reference;

/// Versions of protocols, ethograms, reference curves and standards by which a site works
#[derive(Args, Debug)]
pub(crate) struct Document {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Adopt(Adopt),
    Withdraw(Withdraw),
    List(List),
    Show(Show),
}

impl Document {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Adopt(command) => command.run(errand).await,
            What::Withdraw(command) => command.run(errand).await,
            What::List(command) => command.run(errand).await,
            What::Show(command) => command.run(errand).await,
        }
    }
}

/// A document by its kind and its code.
#[derive(Args, Clone, Debug)]
struct Named {
    /// Kind of document
    #[arg(value_parser = words::parser::<v1::DocumentKind>())]
    kind: v1::DocumentKind,
    /// Its code
    code: String,
}

/// Adopt a version, by which the site works from a day on
#[derive(Args, Debug)]
#[command(after_help = "\
Earlier records keep the version by which they were made.

Examples:
  holt document adopt protocol small-carnivore 2
  holt document adopt growth-reference otter-cubs 1 --from 2026-03-01")]
struct Adopt {
    #[command(flatten)]
    document: Named,
    /// The version
    #[arg(value_parser = clap::value_parser!(i32).range(1..))]
    version: i32,
    /// First day on which the site works by it [default: today]
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
}

impl Adopt {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::AdoptVersionRequest {
            request_id: request_id(),
            site: site.clone(),
            kind: self.document.kind.into(),
            code: self.document.code,
            version: self.version,
            adopted_on: self.from.map(|from| day(from.resolve(session.today(zone)))),
        };
        let thing = View::new(session.ask(ask).await?.document.unwrap_or_default(), zone);
        let say = format!("{site} works by {}.", thing.spoken());
        errand.show(&Told { thing, say })
    }
}

/// Withdraw an adoption that was recorded by mistake
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt document withdraw protocol small-carnivore --from 2026-03-01 \\
    --because \"we start in April\"")]
struct Withdraw {
    #[command(flatten)]
    document: Named,
    /// First day of the adoption
    #[arg(long, value_name = "DAY")]
    from: DayWord,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
}

impl Withdraw {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::WithdrawAdoptionRequest {
            request_id: request_id(),
            site: site.clone(),
            kind: self.document.kind.into(),
            code: self.document.code,
            adopted_on: Some(day(self.from.resolve(session.today(zone)))),
            because: self.because,
        };
        let thing = View::new(session.ask(ask).await?.document.unwrap_or_default(), zone);
        let say = format!("Withdrawn. {site} works by {}.", thing.spoken());
        errand.show(&Told { thing, say })
    }
}

/// When a list is asked for.
#[derive(Args, Clone, Debug)]
struct Then {
    /// Versions of this day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Then {
    async fn ask(self, errand: &Errand<'_>) -> Result<Vec<View>, Failure> {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListDocumentsRequest {
            site,
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let all = session.ask(ask).await?.documents;
        Ok(all.into_iter().map(|one| View::new(one, zone)).collect())
    }
}

/// List the documents that the site may use, with the version by which it works
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt document list
  holt document list --on 2026-03-01 --as-known-at \"2026-03-05 12:00\"")]
struct List {
    #[command(flatten)]
    then: Then,
}

impl List {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let all = self.then.ask(errand).await?;
        errand.show(&Many(all))
    }
}

/// Show which versions of a document the site adopted, and when
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt document show protocol small-carnivore")]
struct Show {
    #[command(flatten)]
    document: Named,
    #[command(flatten)]
    then: Then,
}

impl Show {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let Named { kind, code } = self.document;
        let found = self.then.ask(errand).await?.into_iter().find(|one| one.is(kind, &code));
        let missing = || {
            let kind = words::Word::word(kind);
            Failure::not_found(format!("No {kind} `{code}`."), "see `holt document list`")
        };
        errand.show(&found.ok_or_else(missing)?)
    }
}

/// The same document in the version by which a site works, if no version is named.
pub(super) async fn in_use(
    session: &Session,
    site: &str,
    kind: v1::DocumentKind,
    wanted: &Reference,
    as_of: Option<v1::Day>,
) -> Result<Reference, Failure> {
    let mut wanted = wanted.clone();
    if wanted.version == 0 {
        let ask = v1::ListDocumentsRequest { site: site.to_owned(), as_of, as_known_at: None };
        let all = session.ask(ask).await?.documents;
        let used = all.iter().find(|one| one.kind() == kind && one.code == wanted.code);
        wanted.version = used.map_or(0, |used| used.version);
    }
    Ok(wanted)
}
