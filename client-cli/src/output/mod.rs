//! The only place that prints. Results go to one stream, everything else to the other; colour and width
//! are decided once for each.

mod csv;
mod json;
mod page;
mod plain;
mod rows;
mod table;

pub(crate) use page::{Page, Tone};
pub(crate) use table::Table;

use crate::args::{Colour, Format, Global};
use crate::chart::Chart;
use crate::failure::Failure;
use crate::world::{Terminal, World};
use serde::Serialize;
use std::io::{self, Write};

/// Width where nobody says how wide it is.
const USUAL_WIDTH: u16 = 80;

/// What a command answers, in each form that can be asked for.
pub(crate) trait Answer: Serialize {
    /// A line of `plain` and `csv`: flat, one value in each field.
    type Row: Serialize + Default;

    /// Its lines.
    fn rows(&self) -> Vec<Self::Row>;

    /// For people.
    fn page(&self, page: &mut Page);
}

/// How a stream looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Looks {
    pub(crate) colour: bool,
    pub(crate) width: u16,
}

impl Looks {
    /// Colour on a terminal, unless asked otherwise (no-color.org; `TERM=dumb`).
    pub(crate) fn of(colour: Colour, is_terminal: bool, world: &World) -> Self {
        let wanted = world.variable("NO_COLOR").is_none() && world.variable("TERM") != Some("dumb");
        let columns = world.variable("COLUMNS").and_then(|columns| columns.parse().ok());
        Self {
            colour: match colour {
                Colour::Auto => is_terminal && wanted,
                Colour::Always => true,
                Colour::Never => false,
            },
            width: world.terminal.width.or(columns).unwrap_or(USUAL_WIDTH).max(20),
        }
    }
}

/// Where a command prints.
pub(crate) struct Output<'w> {
    results: &'w mut (dyn Write + Send),
    errors: &'w mut (dyn Write + Send),
    format: Format,
    results_look: Looks,
    errors_look: Looks,
}

impl<'w> Output<'w> {
    pub(crate) fn new(
        global: &Global,
        looks: (Looks, Looks),
        terminal: Terminal,
        results: &'w mut (dyn Write + Send),
        errors: &'w mut (dyn Write + Send),
    ) -> Self {
        let usual = if terminal.output { Format::Text } else { Format::Plain };
        let format = global.format.unwrap_or(usual);
        Self { results, errors, format, results_look: looks.0, errors_look: looks.1 }
    }

    /// Whether results are lines of one kind, which have no room for anything of another.
    pub(crate) fn is_flat(&self) -> bool {
        matches!(self.format, Format::Plain | Format::Csv)
    }

    /// Prints an answer in the form that was asked for.
    pub(crate) fn show(&mut self, answer: &impl Answer) -> Result<(), Failure> {
        let text = match self.format {
            Format::Text => {
                let mut page = Page::new(self.results_look);
                answer.page(&mut page);
                page.into_text()
            }
            Format::Plain => plain::print(&answer.rows())?,
            Format::Csv => csv::print(&answer.rows())?,
            Format::Json => json::print(answer)?,
        };
        self.raw(text.as_bytes())
    }

    /// Draws a chart for people: where results are not asked for as data.
    pub(crate) fn chart(&mut self, chart: &Chart) -> Result<(), Failure> {
        if matches!(self.format, Format::Csv | Format::Json) {
            return Err(Failure::usage("a chart is not data", "leave out --chart, or --format"));
        }
        let mut page = Page::new(self.results_look);
        chart.draw(&mut page);
        self.raw(page.into_text().as_bytes())
    }

    /// Prints a text that is the same in each form, such as a completion script.
    pub(crate) fn raw(&mut self, text: &[u8]) -> Result<(), Failure> {
        self.results.write_all(text)?;
        Ok(self.results.flush()?)
    }

    /// Tells people something beside the result.
    pub(crate) fn note(&mut self, text: &str) -> Result<(), Failure> {
        let mut page = Page::new(self.errors_look);
        page.line(text);
        Ok(self.errors.write_all(page.into_text().as_bytes())?)
    }

    /// Shows where something is to be typed.
    pub(crate) fn prompt(&mut self, text: &str) -> Result<(), Failure> {
        self.errors.write_all(text.as_bytes())?;
        Ok(self.errors.flush()?)
    }

    /// Tells why a command is not done. Where even that cannot be written there is nobody to tell.
    pub(crate) fn failure(&mut self, failure: &Failure) {
        if failure.say.is_empty() {
            return;
        }
        let text = match self.format {
            Format::Json => json::failure(failure),
            Format::Text | Format::Plain | Format::Csv => said(failure, self.errors_look),
        };
        let _ = self.errors.write_all(text.as_bytes()).and_then(|()| self.errors.flush());
    }
}

/// A failure for people: what, where, and what to do instead.
fn said(failure: &Failure, looks: Looks) -> String {
    let mut page = Page::new(looks);
    let name = page.paint(Tone::Alarm, "holt:");
    match failure.flaws.as_slice() {
        // What is said of the whole is what is said of the field.
        [only] if !failure.say.starts_with(&only.field) => {
            page.hanging(&format!("{name} {}: {}", only.field, failure.say), 2);
        }
        [] | [_] => page.hanging(&format!("{name} {}", failure.say), 2),
        several => {
            page.hanging(&format!("{name} {}", failure.say), 2);
            for flaw in several {
                page.hanging(&format!("  {}: {}; {}", flaw.field, flaw.say, flaw.mend), 4);
            }
        }
    }
    if !failure.mend.is_empty() {
        page.hanging(&format!("  instead: {}", failure.mend), 4);
    }
    if !failure.call().is_empty() {
        page.line(&format!("  call: {}", failure.call()));
    }
    page.into_text()
}

/// Shows a program why its command line is not understood, in the form of every other failure.
pub(crate) fn misunderstood(error: &clap::Error, world: &mut World) -> io::Result<()> {
    let text = error.render().to_string();
    let mut parts = text.split("\n\n").map(|part| part.split_whitespace().collect::<Vec<_>>().join(" "));
    let say = parts.next().unwrap_or_default();
    let tip = parts.find_map(|part| part.strip_prefix("tip: ").map(str::to_owned));
    let mend = tip.unwrap_or_else(|| "see the help of the command: --help".to_owned());
    let failure = Failure::usage(say.trim_start_matches("error: "), mend);
    world.errors.write_all(json::failure(&failure).as_bytes())?;
    world.errors.flush()
}

/// Prints what the argument parser says: help and version as a result, the rest as an error.
pub(crate) fn parser(error: &clap::Error, world: &mut World, looks: (Looks, Looks)) -> io::Result<()> {
    let (stream, looks) =
        if error.use_stderr() { (&mut world.errors, looks.1) } else { (&mut world.output, looks.0) };
    let text = error.render();
    let text = if looks.colour { text.ansi().to_string() } else { text.to_string() };
    stream.write_all(text.as_bytes())?;
    stream.flush()
}
