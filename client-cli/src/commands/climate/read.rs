//! `holt climate read`, `holt climate send`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment::{When, WhenWord};
use crate::session::request_id;
use crate::sheet::{Line, Sheet};
use crate::views::climate::Taken;
use clap::Args;
use holt_proto::time::timestamp;
use holt_proto::v1;
use std::path::PathBuf;

/// Readings that are sent in one request.
const PORTION: usize = 5000;

/// Record a reading of a device by hand
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt climate read \"Burrow lamp\" 21.4
  holt climate read Pool-1 12.5 --at 06:40")]
pub(super) struct Read {
    /// The device: its name, or its id
    device: String,
    /// What it reads, in the unit of its measure
    #[arg(allow_hyphen_values = true)]
    value: f64,
    /// Time of the reading [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
}

impl Read {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let at = when::instant(self.at, zone, session.now())?.unwrap_or_else(|| timestamp(session.now()));
        let reading = v1::DeviceReading { device: self.device, read_at: Some(at), value: self.value };
        let ask = v1::RecordReadingsRequest { request_id: request_id(), site, readings: vec![reading] };
        let taken = Taken::new([(&[][..], session.ask(ask).await?)]);
        errand.show(&taken)?;
        Ok(if taken.all_right() { Exit::Done } else { Exit::Refused })
    }
}

/// Record readings from a file
#[derive(Args, Debug)]
#[command(after_help = "\
The file is CSV with the columns device, at and value; times without an offset are in the time zone of the \
site. If you send it again, nothing changes.

Examples:
  holt climate send november.csv
  logger --csv | holt climate send -")]
pub(super) struct Send {
    /// The file; `-` is standard input
    file: PathBuf,
}

impl Send {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let bytes = errand.input.file(&self.file)?;
        let session = &errand.session;
        let site = errand.site().await?;
        let (zone, now) = (session.zone(&site).await?, session.now());
        let (rows, readings) = read(&bytes, |text| {
            let word: WhenWord = text.parse().map_err(|error| format!("{error}"))?;
            match word.resolve(zone, now).map_err(|error| error.mend())? {
                When::At(at) => Ok(at),
                When::On(day) => Err(format!("{day} has no time of the day")),
            }
        })?;
        let mut answers = Vec::new();
        for (rows, portion) in rows.chunks(PORTION).zip(readings.chunks(PORTION)) {
            let ask = v1::RecordReadingsRequest {
                request_id: request_id(),
                site: site.clone(),
                readings: portion.to_vec(),
            };
            answers.push((rows, session.ask(ask).await?));
        }
        let taken = Taken::new(answers);
        errand.show(&taken)?;
        Ok(if taken.all_right() { Exit::Done } else { Exit::Refused })
    }
}

/// The rows of a file and their readings; every row must be one, for they come from a program.
fn read(
    bytes: &[u8],
    instant: impl Fn(&str) -> Result<chrono::DateTime<chrono::Utc>, String>,
) -> Result<(Vec<u64>, Vec<v1::DeviceReading>), Failure> {
    const HEADER: &str = "write a first row with: device,at,value";
    let mut sheet = Sheet::open(bytes)?;
    let place = |name: &str| {
        let found = sheet.header.iter().position(|column| column.eq_ignore_ascii_case(name));
        found.ok_or_else(|| Failure::refused(format!("there is no column `{name}`"), HEADER))
    };
    let (device, at, value) = (place("device")?, place("at")?, place("value")?);
    let (mut rows, mut readings) = (Vec::new(), Vec::new());
    while let Some(Line { row, fields }) = sheet.next()? {
        let row = row.unwrap_or_default();
        let field = |place: usize| fields.get(place).unwrap_or_default();
        let wrong = |what: String| {
            Failure::refused(format!("row {row}: {what}"), "correct that row; nothing was sent")
        };
        let number =
            field(value).parse().map_err(|_| wrong(format!("`{}` is not a number", field(value))))?;
        let at = instant(field(at)).map_err(wrong)?;
        rows.push(row);
        readings.push(v1::DeviceReading {
            device: field(device).to_owned(),
            read_at: Some(timestamp(at)),
            value: number,
        });
    }
    if readings.is_empty() {
        return Err(Failure::refused("there is no reading in the file", HEADER));
    }
    Ok((rows, readings))
}
