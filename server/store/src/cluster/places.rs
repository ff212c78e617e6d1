//! Folders to choose from before there is a cluster.

use std::{
    fs, io,
    path::{Path, PathBuf, absolute},
};

use super::{
    account::Account,
    error::{Doing, Error},
    folder,
    layout::Layout,
    lock::Lock,
    watchdog::Watchdog,
};

/// How the folder of a cluster for one run is called.
const ONE_RUN: &str = "holt-one-run-";

/// How the folder that holds those of one database user is called.
const RUNS: &str = "holt-runs-";

/// The first of these folders that PostgreSQL's user could reach, whether it exists or not. For root, a
/// folder in its own home is not one of them.
pub fn first_open(folders: impl IntoIterator<Item = PathBuf>) -> Option<PathBuf> {
    folders.into_iter().find(|folder| {
        absolute(folder)
            .is_ok_and(|path| account(&path).is_ok_and(|user| user.reach(&path.join(RUNS)).is_ok()))
    })
}

/// A new folder for a cluster made for one run, somewhere below `parent`, which is made if it is absent and whose owner
/// and mode stay as they are. What earlier runs left there, killed together with their watchdogs, is ended and removed.
///
/// # Errors
/// [`Error::Io`] if a folder cannot be made, [`Error::Closed`] if PostgreSQL's user cannot reach it,
/// [`Error::UnsafeFolder`] if somebody else made the one for all runs.
pub fn scratch(parent: &Path) -> Result<PathBuf, Error> {
    let parent = absolute(parent).doing("find", parent)?;
    fs::create_dir_all(&parent).doing("make", &parent)?;
    let account = account(&parent)?;
    // A folder of that user's own, in which the watchdog, which is that user, can remove what lies in it. The parent may
    // be the machine's temporary folder.
    let runs = parent.join(account.names(RUNS));
    account.reach(&runs)?;
    let dir = runs.join(format!("{ONE_RUN}{:016x}", rand::random::<u64>()));
    loop {
        folder::private(&runs, &account)?;
        match folder::make_private(&dir) {
            Ok(()) => break,
            // The last run that was there has just ended, and taken the folder with it.
            Err(gone) if gone.kind() == io::ErrorKind::NotFound => {}
            Err(source) => return Err(source).doing("make", &dir),
        }
    }
    account.give(&dir)?;
    for entry in fs::read_dir(&runs).doing("look into", &runs)?.flatten() {
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
    Ok(dir)
}

/// Removes the folder for all runs, once the last of them has ended.
pub(super) fn tidy(dir: &Path) {
    let runs = dir
        .parent()
        .filter(|runs| runs.file_name().is_some_and(|name| name.to_string_lossy().starts_with(RUNS)));
    if let Some(runs) = runs {
        // Refused as long as another run is in it.
        let _ = fs::remove_dir(runs);
    }
}

/// Who runs a cluster made for one run: what lies in the folder already is not asked.
fn account(parent: &Path) -> Result<Account, Error> {
    Account::of(&parent.join(RUNS), None)
}
