//! `holt exchange take-in`

use super::taken_in;
use crate::errand::{Errand, Outcome};
use crate::exchange::mapping::Mapping;
use crate::exchange::spreadsheet;
use clap::Args;
use std::path::PathBuf;

/// Take in the animals that a site has already, from a spreadsheet
#[derive(Args, Debug)]
#[command(after_help = "\
The sheet is CSV with a header, one row an animal. The mapping is TOML: which column is which field, which \
words of the sheet mean which of Holt's, what holds for every row, and how days and masses are written:

  days = \"DD/MM/YYYY\"
  masses = \"kg\"
  [columns]
  number = \"Local ID\"
  species = \"Latin name\"
  name = \"House name\"
  sex = \"Sex\"
  arrived = \"Acquired\"
  [values.sex]
  M = \"male\"
  F = \"female\"
  [constants]
  from = \"on-site-before\"

Fields: number and species (needed), common-name, name, sex, born, estimated, from, from-name, arrived, \
transponder, ring, tattoo, place-on-body, dam, sire, parents-because, enclosure, owner, died, manner, note, left, \
to, to-name, weight, weighed. `from` is born-here, collection, wild, rescue, confiscation, private or \
on-site-before. A species or an enclosure that is not on record is refused; a species with a common-name is added.

All rows are taken in, or none: what is wrong is told row by row, all of it at once. An animal whose number is on \
record already is left as it is, so that the same file taken in again changes nothing. Up to 5000 animals at once; \
allow more time for many (--timeout).

Examples:
  holt exchange take-in animals.csv --mapping animals.toml --dry-run
  holt exchange take-in animals.csv --mapping animals.toml --timeout 60
  holt exchange take-in - --mapping animals.toml --format csv < animals.csv")]
pub(super) struct TakeIn {
    /// The sheet; - is standard input
    file: PathBuf,
    /// The mapping
    #[arg(long, value_name = "FILE")]
    mapping: PathBuf,
    /// Check everything and record nothing
    #[arg(long, visible_alias = "dry-run")]
    check_only: bool,
}

impl TakeIn {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let mapping = Mapping::read(&errand.input.file(&self.mapping)?)?;
        let entries = spreadsheet::read(&errand.input.file(&self.file)?, &mapping)?;
        let site = errand.site().await?;
        taken_in(errand, &site, entries, self.check_only).await
    }
}
