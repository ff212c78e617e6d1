//! `holt exchange export`, `holt exchange import`

use super::taken_in;
use crate::darwin_core::read::Archive;
use crate::darwin_core::write;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::places::replace;
use crate::views::archive::Archive as View;
use clap::Args;
use holt_proto::v1;
use std::path::PathBuf;

/// Export the animals of a site as an archive of Darwin Core
#[derive(Args, Debug)]
#[command(after_help = "\
The folder gets meta.xml, which assigns a term to each column, and four CSV files: stays at the site \
(occurrence.csv), weights, marks and other facts (measurement.csv), parents (relationship.csv) and \
enclosures (event.csv). Animals keep their identifiers (organismID, urn:uuid:…) and accessions (catalogNumber).

The archive has the records of this one site. A move from or to another site in Holt is an arrival from a \
collection or a departure to one. Parents that never were at the site are left out.

Examples:
  holt exchange export quill-2026 --site QUI
  holt exchange export /media/stick/quill --timeout 120")]
pub(super) struct Export {
    /// Folder to write; it replaces an earlier export there
    folder: PathBuf,
}

impl Export {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let mut ask = v1::ListLivesRequest { site: site.clone(), ..Default::default() };
        let mut lives = Vec::new();
        // Each page says the instant that it is of, and the next is asked for as of the same.
        loop {
            let answer = session.ask(ask.clone()).await?;
            lives.extend(answer.lives);
            ask.as_known_at = answer.known_at;
            let token = answer.page.unwrap_or_default().next_token;
            if token.is_empty() {
                break;
            }
            ask.page = Some(v1::PageRequest { size: 0, token });
        }
        let files = write::archive(&site, &lives)?;
        for file in &files {
            let path = self.folder.join(file.file);
            replace(&path, &file.text).map_err(|error| Failure::file("the file", &path, &error))?;
        }
        let zone = session.zone(&site).await?;
        errand.show(&View::new(&site, &self.folder, lives.len(), ask.as_known_at, &files, zone))
    }
}

/// Import the animals of an archive that Holt exported
#[derive(Args, Debug)]
#[command(after_help = "\
The site must exist, under the same code. Animals keep their identifiers and accessions; Holt adds species \
and enclosures that are missing. It imports all animals or none, and reports errors row by row. An animal \
that is already recorded stays as it is: the same archive changes nothing a second time.

Examples:
  holt exchange import quill-2026 --dry-run
  holt exchange import quill-2026 --timeout 120")]
pub(super) struct Import {
    /// Folder of the archive
    folder: PathBuf,
    /// Check everything and record nothing
    #[arg(long, visible_alias = "dry-run")]
    check_only: bool,
}

impl Import {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let archive = Archive::open(&self.folder)?;
        if let Some(named) = errand.named_site().filter(|named| *named != archive.site) {
            return Err(Failure::refused(
                format!("the archive is from {}, but the site named is {named}", archive.site),
                "name the site of the archive: its accessions are that site's",
            ));
        }
        let zone = errand.session.zone(&archive.site).await?;
        let entries = archive.entries(zone)?;
        taken_in(errand, &archive.site, entries, self.check_only).await
    }
}
