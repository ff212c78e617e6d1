//! `holt exchange from-sheet`

use super::taken_in;
use crate::errand::{Errand, Outcome};
use crate::exchange::mapping::Mapping;
use crate::exchange::spreadsheet;
use clap::Args;
use std::path::PathBuf;

/// Add the animals that a site has already, from a spreadsheet
#[derive(Args, Debug)]
#[command(after_help = "\
The sheet is CSV with a header, one row an animal. The mapping is TOML. It gives the column of each field, \
Holt's word for each word of the sheet, what is so in every row, and how days and weights are written:

  days = \"DD/MM/YYYY\"
  masses = \"kg\"
  [columns]
  number = \"Our no.\"
  species = \"Latin name\"
  name = \"Name\"
  sex = \"Sex\"
  arrived = \"Date in\"
  [values.sex]
  M = \"male\"
  F = \"female\"
  [constants]
  from = \"on-site-before\"

Fields: number and species (needed), common-name, name, sex, born, estimated, from, from-name, arrived, \
transponder, ring, tattoo, place-on-body, dam, sire, parents-because, enclosure, owner, died, manner, note, left, \
to, to-name, weight, weighed. `from` is born-here, collection, wild, rescue, confiscation, private or \
on-site-before. Holt refuses an enclosure or a species that it does not know, but adds a species that has a \
common-name.

Holt adds all rows or none, and reports all errors at once, row by row. An animal whose number is already \
recorded stays as it is: the same file changes nothing a second time. A file has at most 5000 animals; allow \
more time for many (--timeout).

Examples:
  holt exchange from-sheet animals.csv --mapping animals.toml --dry-run
  holt exchange from-sheet animals.csv --mapping animals.toml --timeout 60
  holt exchange from-sheet - --mapping animals.toml --format csv < animals.csv")]
pub(super) struct FromSheet {
    /// The sheet; - is standard input
    file: PathBuf,
    /// The mapping
    #[arg(long, value_name = "FILE")]
    mapping: PathBuf,
    /// Check everything and record nothing
    #[arg(long, visible_alias = "dry-run")]
    check_only: bool,
}

impl FromSheet {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let mapping = Mapping::read(&errand.input.file(&self.mapping)?)?;
        let entries = spreadsheet::read(&errand.input.file(&self.file)?, &mapping)?;
        let site = errand.site().await?;
        taken_in(errand, &site, entries, self.check_only).await
    }
}
