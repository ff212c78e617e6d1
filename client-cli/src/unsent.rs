//! What was typed here and is not recorded yet: files of this machine, each of them always whole.

use crate::failure::Failure;
use crate::places::{self, Places};
use std::path::{Path, PathBuf};

/// A folder of files that wait to be sent.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Folder(&'static str);

impl Folder {
    pub(crate) const OBSERVATIONS: Self = Self("watches");
    pub(crate) const ROUNDS: Self = Self("rounds");

    fn path(self, places: &Places) -> Result<PathBuf, Failure> {
        Ok(places.state()?.join(self.0))
    }

    /// What waits in it, as far as it can be read.
    pub(crate) fn waiting(self, places: &Places) -> Result<Vec<PathBuf>, Failure> {
        let files = std::fs::read_dir(self.path(places)?).into_iter().flatten();
        let mut paths: Vec<PathBuf> = files.filter_map(|file| Some(file.ok()?.path())).collect();
        paths.sort();
        Ok(paths)
    }

    /// Forgets a file that was sent, where it is one of these; what people wrote stays theirs.
    pub(crate) fn sent(self, places: &Places, path: &Path) -> Result<(), Failure> {
        let own = self.path(places)?.canonicalize().ok();
        let path = path.canonicalize().unwrap_or_else(|_| path.to_owned());
        if own.is_some() && path.parent() == own.as_deref() {
            std::fs::remove_file(&path).map_err(|error| Failure::file("the file", &path, &error))?;
        }
        Ok(())
    }

    /// A file in it, which is there once it was saved.
    pub(crate) fn file(self, places: &Places, name: &str) -> Result<Unsent, Failure> {
        Ok(Unsent { path: self.path(places)?.join(name) })
    }
}

/// A file that waits to be sent.
pub(crate) struct Unsent {
    path: PathBuf,
}

impl Unsent {
    /// Writes it as it is now.
    pub(crate) fn save(&self, text: &str) -> Result<(), Failure> {
        places::replace(&self.path, text).map_err(|error| Failure::file("the file", &self.path, &error))
    }

    /// It is on record: the file has done its duty.
    pub(crate) fn forget(self) -> Result<(), Failure> {
        match std::fs::remove_file(&self.path) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                Err(Failure::file("the file", &self.path, &error))
            }
            _ => Ok(()),
        }
    }

    /// Where it is.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }
}
