//! Folders to choose from before there is a cluster.

use std::{
    fs,
    path::{Path, PathBuf, absolute},
};

use super::{
    account::Account,
    error::{Doing, Error},
    layout::Layout,
    lock::Lock,
    watchdog::Watchdog,
};

/// How the folder of a cluster for one run is called.
const ONE_RUN: &str = "holt-one-run-";

/// The first of these folders that PostgreSQL's user could reach, whether it exists or not. For root, a
/// folder in its own home is not one of them.
pub fn first_open(folders: impl IntoIterator<Item = PathBuf>) -> Option<PathBuf> {
    folders.into_iter().find(|folder| {
        absolute(folder)
            .is_ok_and(|path| Account::of(&path, None).is_ok_and(|user| user.reach(&path).is_ok()))
    })
}

/// A new name for the folder of a cluster made for one run, below `parent`, which holds nothing else and is
/// made if it is absent. What earlier runs left there, killed together with their watchdogs, is ended and
/// removed.
///
/// # Errors
/// [`Error::Io`] if `parent` cannot be made, [`Error::Closed`] if PostgreSQL's user cannot reach it.
pub fn scratch(parent: &Path) -> Result<PathBuf, Error> {
    let parent = absolute(parent).doing("find", parent)?;
    fs::create_dir_all(&parent).doing("make", &parent)?;
    let account = Account::of(&parent, None)?;
    account.reach(&parent.join(ONE_RUN))?;
    // So that the watchdog, which is that user, can remove what lies in it.
    account.give(&parent)?;
    for entry in fs::read_dir(&parent).doing("look into", &parent)?.flatten() {
        // What has not this name was not made here, and is never removed.
        if !entry.file_name().to_string_lossy().starts_with(ONE_RUN) {
            continue;
        }
        let layout = Layout { root: entry.path() };
        if let Some(lock) = Lock::take_if_free(&layout.lock()) {
            let data = layout.data(layout.major().unwrap_or_default());
            Watchdog::post(&layout, &account, &lock, &data, &[entry.path()])?.dismiss();
        }
    }
    Ok(parent.join(format!("{ONE_RUN}{:016x}", rand::random::<u64>())))
}
