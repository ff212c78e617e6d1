//! What can go wrong between a folder and a server that answers: what, where, and what to do instead.

use std::{io, path::PathBuf, process::ExitStatus};

/// A cluster could not be found, made, started or stopped.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// No PostgreSQL in any of the usual places.
    #[error(
        "found no PostgreSQL server ({MINIMUM} or newer). {0}\n\
         Install one:\n  \
         Debian, Ubuntu: apt-get install postgresql\n  \
         Fedora, RHEL:   dnf install postgresql-server postgresql-contrib\n  \
         Arch:           pacman -S postgresql\n  \
         Alpine:         apk add postgresql postgresql-contrib\n  \
         macOS:          brew install postgresql\n\
         or name the folder of its `initdb` and `postgres` in the setting `store.postgres_bin`, \
         or use a server of your own through DATABASE_URL",
        describe(looked, too_old),
        MINIMUM = super::find::MINIMUM
    )]
    NoBinaries {
        /// The folders in which both programs were looked for.
        looked: Vec<PathBuf>,
        /// What was found but is too old to use.
        too_old: Vec<(PathBuf, u32)>,
    },

    /// The folder named in the settings holds no usable server.
    #[error(
        "the setting `store.postgres_bin` names {}, but {problem}. Name the folder that holds `initdb` and `postgres` \
         (`pg_config --bindir` prints it), or leave the setting out to search the usual places",
        dir.display()
    )]
    BadBinDir {
        /// The folder as given.
        dir: PathBuf,
        /// What is wrong with it.
        problem: String,
    },

    /// A folder on the way cannot be entered.
    #[error(
        "the user {account} may not enter {}, which is on the way to {}. Allow it (chmod o+x {}), \
         or choose a place that {account} can reach{}",
        folder.display(), wanted.display(), folder.display(),
        if *switched { "; PostgreSQL refuses to run as root, so it runs as that user" } else { "" }
    )]
    Closed {
        /// The folder that is closed.
        folder: PathBuf,
        /// What lies beyond it.
        wanted: PathBuf,
        /// Who would have to enter.
        account: String,
        /// Whether that is another user than the caller.
        switched: bool,
    },

    /// The folder holds something that this module did not put there.
    #[error(
        "{} holds other files (for example `{example}`) and is not a data folder of Holt. \
         Name a new or empty folder in the setting `store.data_dir`",
        dir.display()
    )]
    ForeignFolder {
        /// The folder as given.
        dir: PathBuf,
        /// One of the files in it.
        example: String,
    },

    /// A cluster for one run would have to be removed together with what is there already.
    #[error(
        "{} is not empty, and a cluster for one run is removed at its end with all that is in its folder. \
         Name a new folder",
        dir.display()
    )]
    NotEmpty {
        /// The folder as given.
        dir: PathBuf,
    },

    /// The user who would run PostgreSQL has no name.
    #[error(
        "the user with number {uid} has no name on this system, and PostgreSQL makes no cluster for such a \
         user. Give it one (a line in /etc/passwd), or use a server of your own through DATABASE_URL"
    )]
    Nameless {
        /// The user's number.
        uid: u32,
    },

    /// The folder belongs to somebody else.
    #[error(
        "{} belongs to the user with number {owner}, and this process runs as the user {account}. \
         Start it as that user, or name another folder in the setting `store.data_dir`",
        dir.display()
    )]
    NotYours {
        /// The data folder.
        dir: PathBuf,
        /// The number of the user who owns it.
        owner: u32,
        /// Who asks.
        account: String,
    },

    /// Another process works on this folder.
    #[error(
        "another holtd{} works on {}. Stop it, or name another folder in the setting `store.data_dir`; \
         two must never share one",
        pid.map(|pid| format!(" (process {pid})")).unwrap_or_default(), dir.display()
    )]
    Held {
        /// The data folder.
        dir: PathBuf,
        /// The process that holds it, as far as it said.
        pid: Option<u32>,
    },

    /// The path of the socket is longer than the system allows.
    #[error(
        "the path of the database's socket would be {} bytes long and the system allows {limit}: {}. \
         Name a shorter folder in the setting `store.data_dir`",
        socket.as_os_str().len(), socket.display()
    )]
    SocketPathTooLong {
        /// The path that does not fit.
        socket: PathBuf,
        /// The most bytes that a socket's path may have here.
        limit: usize,
    },

    /// A folder that should be the database's own may be in other hands.
    #[error(
        "{} is to be private to the database's user, but {problem}. Remove it: Holt makes it again",
        dir.display()
    )]
    UnsafeFolder {
        /// The folder.
        dir: PathBuf,
        /// What is wrong with it.
        problem: &'static str,
    },

    /// The data were written by a major version that is not installed.
    #[error(
        "the data in {} were written by PostgreSQL {data}, and only {} is installed here. Install \
         PostgreSQL {data} beside it, or name its folder in the setting `store.postgres_bin`; to move to a newer one, \
         dump the database with the old version and load it into a new data folder",
        dir.display(), list(installed)
    )]
    OtherMajor {
        /// The data folder.
        dir: PathBuf,
        /// The major version that wrote the data.
        data: u32,
        /// The major versions that were found.
        installed: Vec<u32>,
    },

    /// The password of the superuser is not beside the data.
    #[error(
        "{} is missing, without which nobody can log in to the data beside it. Bring it back from a backup; \
         one line, mode 0600, owned by the owner of the data",
        path.display()
    )]
    NoPassword {
        /// Where it should be.
        path: PathBuf,
    },

    /// The new cluster could not be made.
    #[error("`{program}` could not make a database cluster below {}: {status}. It said:\n{said}", dir.display())]
    InitFailed {
        /// The program that failed.
        program: &'static str,
        /// The data folder.
        dir: PathBuf,
        /// How it ended.
        status: ExitStatus,
        /// The end of what it printed.
        said: String,
    },

    /// The server ended before it was ready, or while it was in use.
    #[error("the PostgreSQL server on {} ended ({status}). The end of its log in {}:\n{said}", dir.display(), log.display())]
    Ended {
        /// The data folder.
        dir: PathBuf,
        /// How it ended.
        status: ExitStatus,
        /// The folder of the log.
        log: PathBuf,
        /// The last lines of the log.
        said: String,
    },

    /// The server did not become ready in time.
    #[error(
        "the PostgreSQL server on {} was not ready after {seconds} s and was stopped. \
         The end of its log in {}:\n{said}",
        dir.display(), log.display()
    )]
    TooSlow {
        /// The data folder.
        dir: PathBuf,
        /// How long it was waited for.
        seconds: u64,
        /// The folder of the log.
        log: PathBuf,
        /// The last lines of the log.
        said: String,
    },

    /// The server cannot be made to stop.
    #[error(
        "a PostgreSQL server still runs on {} after it was told to stop, then to quit. Look at its log in {}; \
         its number is the first line of {}/postmaster.pid",
        data.display(), log.display(), data.display()
    )]
    WontStop {
        /// The folder of the cluster.
        data: PathBuf,
        /// The folder of the log.
        log: PathBuf,
    },

    /// A file, folder or program could not be used.
    #[error("could not {action} {}: {source}", path.display())]
    Io {
        /// What was being done.
        action: &'static str,
        /// To what.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// Turns an `io::Error` into one that says what was being done and to what.
pub(super) trait Doing<T> {
    fn doing(self, action: &'static str, path: impl Into<PathBuf>) -> Result<T, Error>;
}

impl<T> Doing<T> for io::Result<T> {
    fn doing(self, action: &'static str, path: impl Into<PathBuf>) -> Result<T, Error> {
        self.map_err(|source| Error::Io { action, path: path.into(), source })
    }
}

fn describe(looked: &[PathBuf], too_old: &[(PathBuf, u32)]) -> String {
    let old = too_old.iter().map(|(dir, major)| format!("{} has only version {major}. ", dir.display()));
    let rest = if looked.is_empty() {
        "There is no `initdb` on the path and no folder where one is usually installed.".to_owned()
    } else {
        let names: Vec<_> = looked.iter().map(|dir| dir.display().to_string()).collect();
        format!("Looked in {}.", names.join(", "))
    };
    old.chain([rest]).collect()
}

fn list(majors: &[u32]) -> String {
    majors.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")
}
