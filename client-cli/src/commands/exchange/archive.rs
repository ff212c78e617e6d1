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

/// Give out the animals of a site as an archive of Darwin Core
#[derive(Args, Debug)]
#[command(after_help = "\
The folder gets meta.xml, which says which column is which term, and four CSV files: stays of the animals at the \
site (occurrence.csv), masses, marks and other facts (measurement.csv), parents (relationship.csv), and where they \
lived (event.csv). Animals keep their identifiers (organismID, urn:uuid:…) and accessions (catalogNumber).

It is told as the books of the one site tell it: a move from or to another site in Holt is an arrival from a \
collection or a departure to one, and parents that never were at the site are left out.

Examples:
  holt exchange export quill-2026 --site QUI
  holt exchange export /media/stick/quill --timeout 120")]
pub(super) struct Export {
    /// Folder to write; what it holds of an earlier export is replaced
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

/// Take in the animals of an archive that a Holt gave out
#[derive(Args, Debug)]
#[command(after_help = "\
The site must be there, under the same code. Animals keep their identifiers and accessions; species and enclosures \
that are not on record are added. All animals are taken in, or none: what is wrong is told row by row. An animal \
that is on record already is left as it is, so that the same archive taken in again changes nothing.

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
                format!("the archive is of {}, and the site named is {named}", archive.site),
                "name the site of the archive: its accessions are that site's",
            ));
        }
        let zone = errand.session.zone(&archive.site).await?;
        let entries = archive.entries(zone)?;
        taken_in(errand, &archive.site, entries, self.check_only).await
    }
}
