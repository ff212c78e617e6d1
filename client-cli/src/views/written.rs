//! A file that was written.

use crate::failure::Failure;
use crate::output::{Answer, Page};
use crate::places;
use serde::Serialize;
use std::io;
use std::path::Path;

/// A file that was written.
#[derive(Clone, Debug, Default, Serialize)]
pub(crate) struct Written {
    file: String,
    bytes: usize,
    #[serde(skip)]
    what: &'static str,
}

impl Written {
    /// Writes a file that is not there yet, or in place of one where that is asked for. None for `-`, which is standard
    /// output and the caller's to write.
    pub(crate) fn of(
        what: &'static str,
        path: &Path,
        text: &str,
        replace: bool,
    ) -> Result<Option<Self>, Failure> {
        if path == Path::new("-") {
            return Ok(None);
        }
        let done = if replace { places::replace(path, text) } else { places::write_new(path, text) };
        done.map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => Failure::refused(
                format!("the file {} exists", path.display()),
                "name another file, or add --replace",
            ),
            _ => Failure::named_file(path, &error),
        })?;
        Ok(Some(Self { file: path.display().to_string(), bytes: text.len(), what }))
    }
}

impl Answer for Written {
    type Row = Self;

    fn rows(&self) -> Vec<Self> {
        vec![self.clone()]
    }

    fn page(&self, page: &mut Page) {
        page.line(&format!("Saved the {} as {}.", self.what, self.file));
    }
}
