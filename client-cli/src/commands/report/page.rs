//! `holt report page`

use crate::commands::kept::{Reference, reference};
use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::site_page::{Question, gather};
use crate::views::written::Written;
use clap::Args;
use std::path::PathBuf;

/// Write the page of a site for an inspector: one HTML file that needs no network
#[derive(Args, Debug)]
#[command(after_help = "\
The page has a summary, the clauses of standards with every exception by name, concerns and how they were answered, \
checks month by month, the stock return, groups, each animal with its weights as a chart, transfers, and the seal of \
the ledger with how to check it. It prints on A4.

With the same days and the same --as-known-at, the page is the same byte by byte.

Examples:
  holt report page --year 2025 --out quill-2025.html
  holt report page --site QUI --from 2026-01-01 --to 2026-06-30 \\
    --standard eu-zoos-directive --out june.html
  holt report page --year 2025 --as-known-at 2026-01-15T12:00Z --out quill.html")]
pub(super) struct Page {
    #[command(flatten)]
    period: when::Period,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// Code of a standard; may be given several times [default: those that the site adopted]
    #[arg(long, value_name = "CODE[@VERSION]", value_parser = reference)]
    standard: Vec<Reference>,
    /// The file to write; - is standard output
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Replace the file if it exists
    #[arg(long)]
    replace: bool,
}

impl Page {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let (first, last) = self.period.days(session.today(zone))?;
        let question = Question {
            site,
            first,
            last,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
            standards: self.standard.into_iter().map(|named| (named.code, named.version)).collect(),
        };
        let page = gather(session, question).await?.page()?;
        match Written::of("page", &self.out, &page, self.replace)? {
            Some(written) => errand.show(&written),
            None => errand.output.raw(page.as_bytes()).map(|()| Exit::Done),
        }
    }
}
