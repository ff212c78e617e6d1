//! Folders that exist, are ours, and that the database's user can reach.

use std::{
    fs::{self, DirBuilder, File, OpenOptions},
    io,
    os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt},
    path::{Path, PathBuf, absolute},
};

use super::{
    account::Account,
    error::{Doing, Error},
    settings::Settings,
};

/// Makes the data folder if need be, or refuses one that holds something else; returns its path without
/// links, as the server will see it.
pub(super) fn prepare(settings: &Settings, account: &Account) -> Result<PathBuf, Error> {
    let wanted = absolute(&settings.data_dir).doing("find", &settings.data_dir)?;
    account.reach(&wanted)?;
    if !wanted.exists() {
        let parent = wanted.parent().unwrap_or(&wanted);
        fs::create_dir_all(parent).doing("make", parent)?;
        make_private(&wanted).doing("make", &wanted)?;
    }
    let real = wanted.canonicalize().doing("find", &wanted)?;
    refuse_foreign(&real, settings.ephemeral)?;
    // Where root writes, the database's user must not: whoever broke into the database could plant a link
    // there. It only passes through. A folder for one run is new, and its watchdog must be able to remove it.
    if settings.ephemeral {
        account.give(&real)?;
    }
    let mode = if account.is_switched() && !settings.ephemeral { 0o711 } else { 0o700 };
    fs::set_permissions(&real, fs::Permissions::from_mode(mode)).doing("close to others", &real)?;
    account.reach(&real.join("lock"))?;
    Ok(real)
}

/// Makes a folder that is private to the database's user, or takes the one that is there if nobody else can
/// have made it: a name in `/tmp` can be guessed.
pub(super) fn private(dir: &Path, account: &Account) -> Result<(), Error> {
    match make_private(dir) {
        Ok(()) => account.give(dir)?,
        Err(source) if source.kind() == io::ErrorKind::AlreadyExists => {}
        Err(source) => return Err(source).doing("make", dir),
    }
    let refused = |problem| Error::UnsafeFolder { dir: dir.to_owned(), problem };
    let found = fs::symlink_metadata(dir).doing("look at", dir)?;
    if !found.is_dir() {
        return Err(refused("it is a link or a file and not a folder"));
    }
    if !account.owns(&found) {
        return Err(refused("it belongs to another user"));
    }
    if found.permissions().mode() & 0o077 != 0 {
        return Err(refused("others may enter it"));
    }
    account.reach(dir)
}

/// Makes a folder that only its owner may enter.
pub(super) fn make_private(dir: &Path) -> io::Result<()> {
    DirBuilder::new().mode(0o700).create(dir)
}

/// Makes a file anew, never writing through what is there under its name.
pub(super) fn fresh_file(path: &Path, mode: u32) -> Result<File, Error> {
    match fs::remove_file(path) {
        Err(source) if source.kind() != io::ErrorKind::NotFound => return Err(source).doing("replace", path),
        _ => {}
    }
    OpenOptions::new().write(true).create_new(true).mode(mode).open(path).doing("make", path)
}

fn refuse_foreign(dir: &Path, ephemeral: bool) -> Result<(), Error> {
    let mut example = None;
    for entry in fs::read_dir(dir).doing("look into", dir)? {
        let name = entry.doing("look into", dir)?.file_name();
        // The root of a mounted file system is never quite empty.
        if name == "lost+found" {
            continue;
        }
        if ephemeral {
            return Err(Error::NotEmpty { dir: dir.to_owned() });
        }
        if name == "lock" {
            return Ok(());
        }
        example = Some(name);
    }
    match example {
        Some(name) => {
            Err(Error::ForeignFolder { dir: dir.to_owned(), example: name.to_string_lossy().into_owned() })
        }
        None => Ok(()),
    }
}
