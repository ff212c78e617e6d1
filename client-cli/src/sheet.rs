//! CSV as spreadsheets write it: with commas, semicolons or tabs, a byte order mark or none, and any line ends.

use crate::failure::Failure;
use csv::{Reader, ReaderBuilder, StringRecord, Trim};

/// A sheet whose header has been read.
pub(crate) struct Sheet<'a> {
    pub(crate) header: StringRecord,
    reader: Reader<&'a [u8]>,
    rows: Rows<'a>,
}

/// A line of a sheet.
pub(crate) struct Line {
    /// Its row, as a spreadsheet counts, the header being row 1.
    pub(crate) row: Option<u64>,
    pub(crate) fields: StringRecord,
}

impl<'a> Sheet<'a> {
    /// Reads the header. What makes a file no text or no CSV is a failure of the whole.
    pub(crate) fn open(bytes: &'a [u8]) -> Result<Self, Failure> {
        let text = text(bytes)?;
        let mut reader = ReaderBuilder::new()
            .delimiter(delimiter(text))
            .trim(Trim::All)
            .flexible(true)
            .from_reader(text.as_bytes());
        let header = reader.headers().map_err(|error| no_csv(&error))?.clone();
        Ok(Self { header, reader, rows: Rows { text, seen: 0, row: 1 } })
    }

    /// The next line that is not empty.
    pub(crate) fn next(&mut self) -> Result<Option<Line>, Failure> {
        let mut fields = StringRecord::new();
        while self.reader.read_record(&mut fields).map_err(|error| no_csv(&error))? {
            if fields.iter().any(|field| !field.is_empty()) {
                let row = fields.position().map(|start| self.rows.at(start.byte()));
                return Ok(Some(Line { row, fields }));
            }
        }
        Ok(None)
    }
}

/// Counts rows as a spreadsheet does. The reader's own count does not: a record begins for it where the
/// one before ended, ahead of the line break and of blank lines.
struct Rows<'a> {
    text: &'a str,
    seen: usize,
    row: u64,
}

impl Rows<'_> {
    /// The row of the record that begins at an offset, or at the first text after it.
    fn at(&mut self, start: u64) -> u64 {
        let bytes = self.text.as_bytes();
        let mut start = usize::try_from(start).unwrap_or(usize::MAX).min(bytes.len());
        start += bytes[start..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        for place in self.seen..start {
            let ends =
                bytes[place] == b'\n' || (bytes[place] == b'\r' && bytes.get(place + 1) != Some(&b'\n'));
            self.row += u64::from(ends);
        }
        self.seen = start;
        self.row
    }
}

/// The text of a file, without a byte order mark.
fn text(bytes: &[u8]) -> Result<&str, Failure> {
    let mend = "save it as `CSV UTF-8`";
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err(Failure::refused("the file is UTF-16", mend));
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| {
        let before = &bytes[..error.valid_up_to()];
        let row = before.split(|byte| *byte == b'\n').count();
        Failure::refused(format!("row {row} of the file is not UTF-8"), mend)
    })
}

/// The separator that the header is made with; no name of a column holds one.
fn delimiter(text: &str) -> u8 {
    let header = text.trim_start().lines().next().unwrap_or_default();
    let count = |separator: &u8| header.bytes().filter(|byte| byte == separator).count();
    [b';', b'\t', b','].into_iter().max_by_key(count).unwrap_or(b',')
}

fn no_csv(error: &csv::Error) -> Failure {
    Failure::refused(
        format!("the file is not CSV: {error}"),
        "save it as `CSV UTF-8` and look at the row named",
    )
}
