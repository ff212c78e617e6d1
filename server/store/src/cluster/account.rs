//! The user under whom PostgreSQL runs: the caller, unless that is root, which PostgreSQL refuses.

use std::{
    ffi::OsString,
    fs::{self, File},
    io,
    os::unix::{
        fs::{MetadataExt, fchown, lchown},
        process::CommandExt,
    },
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use rustix::process::{getegid, geteuid};

use super::{
    error::{Doing, Error},
    layout::Layout,
};

/// A user, and the search path given to what is run as that user.
#[derive(Debug, Clone)]
pub(super) struct Account {
    uid: u32,
    gid: u32,
    name: String,
    switched: bool,
    path: OsString,
}

impl Account {
    /// Who may run a server on this folder. Root takes the owner of the data that are there already, so that
    /// those made as `nobody` stay usable after somebody installs a package that brings a `postgres` user.
    pub(super) fn of(data_dir: &Path, path: Option<&OsString>) -> Result<Self, Error> {
        let path = path.cloned().unwrap_or_else(|| "/usr/local/bin:/usr/bin:/bin".into());
        let uid = geteuid().as_raw();
        let layout = Layout { root: data_dir.to_owned() };
        let owned = layout.major().map_or(data_dir.to_owned(), |major| layout.version(major));
        let owner = owned.metadata().ok().map(|found| (found.uid(), found.gid()));
        if uid != 0 {
            let account = Self { uid, gid: getegid().as_raw(), name: name_of(uid)?, switched: false, path };
            return match owner {
                Some((owner, _)) if owner != uid => {
                    Err(Error::NotYours { dir: data_dir.to_owned(), owner, account: account.name })
                }
                _ => Ok(account),
            };
        }
        if let Some((uid, gid)) = owner.filter(|&(uid, _)| uid != 0) {
            return Ok(Self { uid, gid, name: name_of(uid)?, switched: true, path });
        }
        for name in ["postgres", "nobody"] {
            if let (Some(uid), Some(gid)) = (number(&["-u", name]), number(&["-g", name])) {
                return Ok(Self { uid, gid, name: name.to_owned(), switched: true, path });
            }
        }
        Err(io::Error::new(io::ErrorKind::NotFound, "there is neither")).doing(
            "find, to run PostgreSQL as root cannot, the user `postgres` or `nobody` in",
            "/etc/passwd",
        )
    }

    /// A command that runs as this user, in the root folder, without the caller's environment (its secrets
    /// are not this user's business) and out of reach of an interrupt typed at the caller's terminal.
    pub(super) fn command(&self, program: impl AsRef<Path>) -> Command {
        let mut command = Command::new(program.as_ref());
        command.env_clear().env("PATH", &self.path).current_dir("/").process_group(0).stdin(Stdio::null());
        if self.switched {
            command.uid(self.uid).gid(self.gid);
        }
        command
    }

    /// Hands a folder to this user.
    pub(super) fn give(&self, dir: &Path) -> Result<(), Error> {
        if !self.switched {
            return Ok(());
        }
        lchown(dir, Some(self.uid), Some(self.gid)).doing("give to the database's user", dir)
    }

    /// Hands an open file to this user.
    pub(super) fn give_file(&self, file: &File, path: &Path) -> Result<(), Error> {
        if !self.switched {
            return Ok(());
        }
        fchown(file, Some(self.uid), Some(self.gid)).doing("give to the database's user", path)
    }

    /// Whether this user may enter every folder on the way to `wanted`, as far as they exist. Asked of the
    /// system by trying, as permission bits are only a part of what decides.
    pub(super) fn reach(&self, wanted: &Path) -> Result<(), Error> {
        const TRY: &str = r#"
            for folder do
                [ -e "$folder" ] || [ -h "$folder" ] || exit 0
                [ -x "$folder" ] || { printf %s "$folder"; exit 1; }
            done"#;
        let mut folders: Vec<&Path> = wanted.ancestors().skip(1).collect();
        folders.reverse();
        let tried = self
            .command("/bin/sh")
            .args(["-c", TRY, "reach"])
            .args(folders)
            .output()
            .doing("run", "/bin/sh")?;
        if tried.status.success() {
            return Ok(());
        }
        let folder = PathBuf::from(String::from_utf8_lossy(&tried.stdout).into_owned());
        Err(Error::Closed {
            folder,
            wanted: wanted.to_owned(),
            account: self.name.clone(),
            switched: self.switched,
        })
    }

    /// Whether the folder is this user's own.
    pub(super) fn owns(&self, found: &fs::Metadata) -> bool {
        found.uid() == self.uid
    }

    /// A name that no other user's folder has.
    pub(super) fn names(&self, prefix: &str) -> String {
        format!("{prefix}{}", self.uid)
    }

    /// Whether it is another user than the caller, who then is root.
    pub(super) fn is_switched(&self) -> bool {
        self.switched
    }
}

/// PostgreSQL refuses to make a cluster for a user who is only a number, as some containers have them.
fn name_of(uid: u32) -> Result<String, Error> {
    asked(&["-un", &uid.to_string()]).ok_or(Error::Nameless { uid })
}

fn asked(arguments: &[&str]) -> Option<String> {
    let answer = Command::new("id").args(arguments).stderr(Stdio::null()).output().ok()?;
    answer.status.success().then(|| String::from_utf8_lossy(&answer.stdout).trim().to_owned())
}

fn number(arguments: &[&str]) -> Option<u32> {
    asked(arguments)?.parse().ok()
}
