//! `holt weigh`

use super::litter;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment::{Unclear, When, WhenWord};
use crate::round::Entry;
use crate::round::file;
use crate::round::row::{Terms, wire_when};
use crate::round::send::{Identity, send};
use crate::session::request_id;
use crate::unsent::Folder;
use crate::views::CHECKED_ONLY;
use crate::views::crate_reading::{CrateReading, Recorded};
use crate::views::round::Round;
use crate::words;
use clap::Args;
use holt_proto::notation::mass::{self, Unit};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::reading;
use holt_proto::v1::record_crate_reading_request::{Of, When as Taken};
use std::path::PathBuf;

/// Record a weight, or a round of weights from a file
#[derive(Args, Debug)]
#[command(after_help = "\
Write each weight with its unit. If an animal declined the scale, record that with --declined: it is also a \
finding. A reading far from the expected weight waits until a second weighing agrees with it.

Several animals of a litter or a group in one crate are one reading with their number. Holt never divides it \
among them, and counts it in the trend of none.

A round file is CSV with a header: animal, mass (or weight), at (or date and time), declined, scale, method, \
note. Each row has its own answer; an error in one does not touch the others. If you send a file again, Holt \
records nothing twice. Times are those of the site; rows without one take that of --at.

Examples:
  holt weigh Bramble 8.2kg
  holt weigh Bramble 9 lb 3 oz --at 06:40 --scale platform --method trained
  holt weigh Sedge --declined --note \"stayed in the holt\"
  holt weigh --litter Sedge --count 4 812 g --scale kitchen
  holt weigh --group \"Weir family\" --count 6 3.2kg
  holt weigh --file round.csv
  holt weigh --file - --unit g --at 2026-03-02 --check-only < round.csv")]
pub(crate) struct Weigh {
    /// The animal: house name, accession, transponder, ring or id
    #[arg(required_unless_present = "file", conflicts_with = "file")]
    animal: Option<String>,

    /// What the scale showed, with its unit
    #[arg(num_args = 1.., conflicts_with = "file", allow_negative_numbers = true)]
    mass: Vec<String>,

    /// It declined the scale
    #[arg(long, conflicts_with_all = ["mass", "file"])]
    declined: bool,

    /// Read a round from a CSV file; - is standard input
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,

    /// Unit of weights that are written without one: kg, g, mg, t, lb, oz
    #[arg(long, value_parser = unit)]
    unit: Option<Unit>,

    /// When: 06:40, "2026-03-02 06:40", yesterday [default: now]
    #[arg(long, value_name = "TIME", value_parser = typed)]
    at: Option<Typed>,

    /// The scale
    #[arg(long, value_name = "NAME", conflicts_with = "file")]
    scale: Option<String>,

    /// How it was weighed
    #[arg(long, conflicts_with = "file", value_parser = words::parser::<v1::WeighingMethod>())]
    method: Option<v1::WeighingMethod>,

    /// Conditions worth keeping: before the feed, wet, pregnant
    #[arg(long, value_name = "TEXT", conflicts_with = "file")]
    note: Option<String>,

    /// Litter whose animals were in one crate: its dam, or its id
    #[arg(long, value_name = "LITTER", requires = "count")]
    #[arg(conflicts_with_all = ["file", "declined", "group", "method"])]
    litter: Option<String>,

    /// Group whose members were in one crate
    #[arg(long, value_name = "GROUP", requires = "count")]
    #[arg(conflicts_with_all = ["file", "declined", "method"])]
    group: Option<String>,

    /// How many were in the crate
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(i32).range(1..=100_000))]
    count: Option<i32>,

    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

/// A time, with the words that it was typed in.
#[derive(Clone, Debug)]
struct Typed {
    text: String,
    word: WhenWord,
}

fn typed(text: &str) -> Result<Typed, Unclear> {
    Ok(Typed { text: text.to_owned(), word: text.parse()? })
}

pub(super) fn unit(text: &str) -> Result<Unit, mass::MassError> {
    Unit::parse(text)
}

/// The options that change what a file says, as they were typed.
pub(super) fn options(unit: Option<Unit>, at: &str) -> String {
    let unit = unit.map(|unit| unit.to_string()).unwrap_or_default();
    format!("--unit {unit} --at {at}")
}

/// Shows what became of a round.
pub(super) fn close(round: &Round, errand: &mut Errand<'_>) -> Outcome {
    errand.show(round)?;
    if !round.concerns.is_empty() && errand.output.is_flat() {
        errand.output.note("Concerns were raised or changed: see `holt concern list`.")?;
    }
    Ok(if round.refused > 0 { Exit::Refused } else { Exit::Done })
}

impl Weigh {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match (&self.litter, &self.group, self.count) {
            (None, None, None) => self.round(errand).await,
            (None, None, Some(_)) => {
                Err(Failure::usage("no litter or group given for the crate", "add --litter or --group"))
            }
            (_, _, count) => self.crated(count.unwrap_or_default(), errand).await,
        }
    }

    /// Several animals in one crate.
    async fn crated(&self, animals: i32, errand: &mut Errand<'_>) -> Outcome {
        // There is no animal to name, so what was typed is all mass.
        let typed = self.animal.iter().chain(&self.mass).map(String::as_str).collect::<Vec<_>>().join(" ");
        let milligrams =
            mass::parse(&typed, self.unit).map_err(|error| Failure::argument("MASS", &error.to_string()))?;
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let of = match (&self.litter, &self.group) {
            (Some(litter), _) => Of::LitterId(litter::find(session, &site, litter).await?.id),
            (None, group) => Of::Group(group.clone().unwrap_or_default()),
        };
        let when = self.at.as_ref().map(|at| at.word.resolve(zone, session.now())).transpose()?;
        let ask = v1::RecordCrateReadingRequest {
            request_id: request_id(),
            site,
            of: Some(of),
            animals,
            mass: Some(v1::Mass { milligrams }),
            when: when.map(|when| match when {
                When::At(at) => Taken::WeighedAt(timestamp(at)),
                When::On(on) => Taken::WeighedOn(day(on)),
            }),
            scale: self.scale.clone().unwrap_or_default(),
            note: self.note.clone().unwrap_or_default(),
            validate_only: self.check_only,
        };
        let reading = CrateReading::new(session.ask(ask).await?.reading.unwrap_or_default(), zone);
        let say = if self.check_only { CHECKED_ONLY.to_owned() } else { format!("{}.", reading.spoken()) };
        errand.show(&Recorded { reading, say })
    }

    async fn round(self, errand: &mut Errand<'_>) -> Outcome {
        let content = match &self.file {
            Some(path) => errand.input.file(path)?,
            None => Vec::new(),
        };
        // What was typed is looked at before anybody is asked.
        let typed = if self.file.is_some() { None } else { Some(self.result()?) };
        let session = &errand.session;
        let site = errand.site().await?;
        let zones = session.zones().await?;
        let (zone, now) = (zones.of(&site), session.now());
        let at = self.at.as_ref().map(|at| at.word.resolve(zone, now)).transpose()?;
        let (entries, identity) = match typed {
            Some(result) => (vec![self.entry(result, at.unwrap_or(When::At(now)))], Identity::Fresh),
            None => {
                let at_typed = self.at.as_ref().map(|at| at.text.as_str()).unwrap_or_default();
                let entries = file::read(&content, &Terms { zone, now, unit: self.unit, at })?;
                (entries, Identity::File { content: &content, options: options(self.unit, at_typed) })
            }
        };
        let mut sent = send(session, &site, entries, &identity, self.check_only).await;
        let broke_off = sent.broke_off.take();
        if sent.lines.is_empty()
            && let Some(failure) = broke_off
        {
            return Err(failure);
        }
        let exit = close(&Round::new(&site, self.check_only, sent, &zones), errand)?;
        if let Some(failure) = broke_off {
            return Err(failure);
        }
        // What was refused stays here until somebody has settled it.
        if let Some(path) = self.file.as_deref().filter(|_| !self.check_only && exit == Exit::Done) {
            Folder::ROUNDS.sent(&errand.settings.places, path)?;
        }
        Ok(exit)
    }

    /// What was typed to have come of the weighing.
    fn result(&self) -> Result<reading::Result, Failure> {
        if self.declined {
            return Ok(reading::Result::Tried(v1::Tried {}));
        }
        if self.mass.is_empty() {
            return Err(Failure::usage(
                "no weight given",
                "write it with its unit, or --declined if the animal declined the scale",
            ));
        }
        let milligrams = mass::parse(&self.mass.join(" "), self.unit)
            .map_err(|error| Failure::argument("MASS", &error.to_string()))?;
        Ok(reading::Result::Mass(v1::Mass { milligrams }))
    }

    /// The reading that was typed.
    fn entry(&self, result: reading::Result, when: When) -> Entry {
        let animal = self.animal.clone().unwrap_or_default();
        let reading = v1::Reading {
            animal: animal.clone(),
            when: Some(wire_when(when)),
            result: Some(result),
            scale: self.scale.clone().unwrap_or_default(),
            method: self.method.unwrap_or_default().into(),
            note: self.note.clone().unwrap_or_default(),
        };
        Entry { row: None, animal, reading: Ok(reading) }
    }
}
