//! An archive that was written.

use super::{count, written};
use crate::darwin_core::write::Written;
use crate::output::{Answer, Page, Table};
use chrono_tz::Tz;
use prost_types::Timestamp;
use serde::Serialize;
use std::path::Path;

/// An archive in its folder.
#[derive(Serialize)]
pub(crate) struct Archive {
    site: String,
    folder: String,
    animals: usize,
    known_at: Option<String>,
    files: Vec<File>,
}

/// A file of it.
#[derive(Clone, Default, Serialize)]
pub(crate) struct File {
    file: &'static str,
    rows: usize,
}

impl Archive {
    pub(crate) fn new(
        site: &str,
        folder: &Path,
        animals: usize,
        known_at: Option<Timestamp>,
        files: &[Written],
        zone: Tz,
    ) -> Self {
        Self {
            site: site.to_owned(),
            folder: folder.display().to_string(),
            animals,
            known_at: written(known_at, zone),
            files: files.iter().map(|file| File { file: file.file, rows: file.rows }).collect(),
        }
    }
}

impl Answer for Archive {
    type Row = File;

    fn rows(&self) -> Vec<File> {
        self.files.clone()
    }

    fn page(&self, page: &mut Page) {
        let animals = count(self.animals, "animal", "animals");
        page.line(&format!("{animals} of {} in {}.", self.site, self.folder));
        let mut table = Table::new(["File", "Rows"]).numbers([1]);
        for file in &self.files {
            table.row([file.file.to_owned(), file.rows.to_string()]);
        }
        page.table(&table);
    }
}
