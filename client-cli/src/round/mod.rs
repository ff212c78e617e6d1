//! A round of weighing: read from a file or from the command line, or typed line by line; sent in parts, answered as one.

pub(crate) mod file;
pub(crate) mod line;
pub(crate) mod roll;
pub(crate) mod row;
pub(crate) mod send;
pub(crate) mod typed;

use holt_proto::v1;

/// One line of a round.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    /// Row of the file, the header being row 1; none for what was typed.
    pub(crate) row: Option<u64>,
    /// The animal as it was written.
    pub(crate) animal: String,
    /// The reading, or why it is none.
    pub(crate) reading: Result<v1::Reading, Malformed>,
}

/// Why a line is no reading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Malformed {
    /// Which column.
    pub(crate) column: &'static str,
    /// What is wrong.
    pub(crate) say: String,
    /// What to write instead.
    pub(crate) mend: String,
}

impl Malformed {
    pub(crate) fn new(column: &'static str, say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self { column, say: say.into(), mend: mend.into() }
    }

    /// A message that says what is wrong, and after a semicolon what to write instead.
    pub(crate) fn of(column: &'static str, message: &str) -> Self {
        match message.split_once("; ") {
            Some((say, mend)) => Self::new(column, say, mend),
            None => Self::new(column, message, "correct it"),
        }
    }
}
