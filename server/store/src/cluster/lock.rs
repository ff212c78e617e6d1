//! Who works on a data folder: one process at a time, and its watchdog until the server has gone.

use std::{
    fs::{self, File, OpenOptions, TryLockError},
    io::{Read, Seek, Write},
    os::unix::fs::{MetadataExt, OpenOptionsExt},
    path::Path,
    process::Stdio,
    thread,
    time::{Duration, Instant},
};

use rustix::{
    fs::OFlags,
    process::{Pid, test_kill_process},
};

use super::error::{Doing, Error};

/// Longer than a watchdog may take to end a server.
const PATIENCE: Duration = Duration::from_secs(45);

/// A lock on a file that names the process which holds it. The file stays when the lock goes.
#[derive(Debug)]
pub(super) struct Lock {
    file: File,
}

impl Lock {
    /// Takes the lock. If a living process holds it, that is an error at once; if the one that took it has
    /// gone, its watchdog is still ending the server, which is waited for.
    pub(super) fn take(path: &Path, dir: &Path) -> Result<Self, Error> {
        let until = Instant::now() + PATIENCE;
        loop {
            let mut file = open(path)?;
            match file.try_lock() {
                Ok(()) if is_still_at(&file, path) => {
                    let mut lock = Self { file };
                    lock.write(&std::process::id().to_string()).doing("write", path)?;
                    return Ok(lock);
                }
                // Removed, with its folder, between opening and locking.
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => {
                    let holder = holder(&mut file);
                    if holder.is_some_and(is_alive) || Instant::now() > until {
                        return Err(Error::Held { dir: dir.to_owned(), pid: holder });
                    }
                    thread::sleep(Duration::from_millis(20));
                }
                Err(TryLockError::Error(source)) => return Err(source).doing("lock", path),
            }
        }
    }

    /// Takes the lock if nobody at all holds it.
    pub(super) fn take_if_free(path: &Path) -> Option<Self> {
        let file = OpenOptions::new().read(true).write(true).open(path).ok()?;
        file.try_lock().ok()?;
        Some(Self { file })
    }

    /// Says that the holder has let go and only the end of the server is still to come.
    pub(super) fn leave(&mut self) {
        // If it fails, the next start says who holds the folder instead of waiting: no harm.
        let _ = self.write("");
    }

    /// The lock as an output for a child, which holds it for as long as it lives.
    pub(super) fn share(&self) -> std::io::Result<Stdio> {
        self.file.try_clone().map(Stdio::from)
    }

    fn write(&mut self, text: &str) -> std::io::Result<()> {
        self.file.set_len(0)?;
        self.file.rewind()?;
        self.file.write_all(text.as_bytes())
    }
}

/// Opens or makes the file. Root may do this in a folder of somebody else: never through a link.
fn open(path: &Path) -> Result<File, Error> {
    OpenOptions::new()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .mode(0o600)
        .custom_flags(OFlags::NOFOLLOW.bits().cast_signed())
        .open(path)
        .doing("open", path)
}

fn is_still_at(file: &File, path: &Path) -> bool {
    let (Ok(held), Ok(there)) = (file.metadata(), fs::metadata(path)) else { return false };
    (held.dev(), held.ino()) == (there.dev(), there.ino())
}

fn holder(file: &mut File) -> Option<u32> {
    let mut text = String::new();
    file.read_to_string(&mut text).ok()?;
    text.trim().parse().ok()
}

fn is_alive(pid: u32) -> bool {
    let Some(pid) = i32::try_from(pid).ok().and_then(Pid::from_raw) else { return false };
    // Another user's process answers with a refusal, and is alive.
    !matches!(test_kill_process(pid), Err(rustix::io::Errno::SRCH))
}
