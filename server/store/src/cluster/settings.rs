//! What a caller decides about a cluster.

use std::{ffi::OsString, path::PathBuf};

/// Where a cluster lives, which PostgreSQL runs it, and whether its data matter.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The folder that holds everything; made if it is absent, refused if it holds something else.
    pub data_dir: PathBuf,
    /// The folder with `initdb` and `postgres`; searched for in the usual places if absent.
    pub bin_dir: Option<PathBuf>,
    /// The search path of the caller's environment.
    pub path: Option<OsString>,
    /// Where a folder for the socket may be made if `data_dir` is too deep for one; `/tmp` if absent.
    /// `$XDG_RUNTIME_DIR` suits a person, not root, as PostgreSQL runs under another account then.
    pub short_dir: Option<PathBuf>,
    /// Whether a commit must survive the loss of power. Off, the server never waits for the disk: for tests.
    pub durable: bool,
    /// Whether the folder goes when the cluster stops, in whatever way. It must be new or empty.
    pub ephemeral: bool,
    /// Parameters of PostgreSQL, as (name, value). Those on which this module relies cannot be changed.
    pub extra: Vec<(String, String)>,
}

impl Settings {
    /// A cluster that keeps its data.
    pub fn kept(data_dir: impl Into<PathBuf>) -> Self {
        Self {
            data_dir: data_dir.into(),
            bin_dir: None,
            path: None,
            short_dir: None,
            durable: true,
            ephemeral: false,
            extra: Vec::new(),
        }
    }

    /// A cluster for one run: fast, and gone with the process. [`scratch`](super::scratch) gives a folder.
    pub fn for_one_run(data_dir: impl Into<PathBuf>) -> Self {
        Self { durable: false, ephemeral: true, ..Self::kept(data_dir) }
    }
}
