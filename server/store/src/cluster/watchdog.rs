//! The shell that ends the server when this process lets go of it or dies. See `watchdog.sh`.

use std::{
    io::Write,
    path::{Path, PathBuf},
    process::{Child, Stdio},
};

use super::{
    account::Account,
    error::{Doing, Error},
    folder,
    layout::Layout,
    lock::Lock,
};

const SCRIPT: &str = include_str!("watchdog.sh");

/// A watchdog on duty. It acts as soon as this value is dropped, which closes its pipe.
#[derive(Debug)]
pub(super) struct Watchdog {
    child: Child,
}

impl Watchdog {
    /// Posts a watchdog for the server on `data`, which also removes the folders in `remove`, in this order.
    pub(super) fn post(
        layout: &Layout,
        account: &Account,
        lock: &Lock,
        data: &Path,
        remove: &[PathBuf],
    ) -> Result<Self, Error> {
        let script = layout.watchdog();
        folder::fresh_file(&script, 0o644)?.write_all(SCRIPT.as_bytes()).doing("write", &script)?;
        let child = account
            .command("/bin/sh")
            .arg(&script)
            .arg(data)
            .args(remove)
            .stdin(Stdio::piped())
            .stdout(lock.share().doing("share", layout.lock())?)
            .stderr(Stdio::null())
            .spawn()
            .doing("run", &script)?;
        Ok(Self { child })
    }

    /// Lets go and waits until the watchdog has done its work; says whether nothing runs any more.
    pub(super) fn dismiss(mut self) -> bool {
        // `wait` closes the pipe first.
        self.child.wait().is_ok_and(|status| status.success())
    }
}
