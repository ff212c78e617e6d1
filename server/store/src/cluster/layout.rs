//! The names of everything in the data folder.

use std::{
    fs,
    path::{Path, PathBuf},
};

use sha2::{Digest, Sha256};

use super::error::Error;

/// The number in the name of the socket. No network port has to do with it.
pub(super) const PORT: u16 = 5432;

/// The longest path of a Unix socket: `sun_path` of `sockaddr_un` without its final zero, see unix(7) of the
/// Linux manual; the systems that come from BSD have 104 bytes there.
const SOCKET_PATH_LIMIT: usize = if cfg!(target_os = "linux") { 107 } else { 103 };

/// The data folder, as an absolute path without links.
#[derive(Debug, Clone)]
pub(super) struct Layout {
    pub(super) root: PathBuf,
}

impl Layout {
    pub(super) fn lock(&self) -> PathBuf {
        self.root.join("lock")
    }

    pub(super) fn watchdog(&self) -> PathBuf {
        self.root.join("watchdog.sh")
    }

    pub(super) fn startup_log(&self) -> PathBuf {
        self.root.join("startup.log")
    }

    pub(super) fn log(&self) -> PathBuf {
        self.root.join("log")
    }

    /// Where data and password of one major version are.
    pub(super) fn version(&self, major: u32) -> PathBuf {
        self.root.join(major.to_string())
    }

    pub(super) fn data(&self, major: u32) -> PathBuf {
        self.version(major).join("data")
    }

    pub(super) fn password(&self, major: u32) -> PathBuf {
        self.version(major).join("password")
    }

    /// The newest major version that has data here.
    pub(super) fn major(&self) -> Option<u32> {
        let names = fs::read_dir(&self.root).ok()?.flatten();
        let majors = names.filter_map(|entry| entry.file_name().to_str()?.parse::<u32>().ok());
        majors.filter(|&major| self.data(major).join("PG_VERSION").is_file()).max()
    }

    /// The folder for the socket: here if the path is short enough, else one below `short_dir` or `/tmp`
    /// whose name follows from this folder's, so that a restart finds it again.
    pub(super) fn socket_dir(&self, short_dir: Option<&Path>) -> Result<PathBuf, Error> {
        let here = self.root.join("socket");
        // A path that is no text can be told neither to the server nor in a URL.
        if here.to_str().is_some() && socket(&here).as_os_str().len() <= SOCKET_PATH_LIMIT {
            return Ok(here);
        }
        let digest = Sha256::digest(self.root.as_os_str().as_encoded_bytes());
        let name: String = digest[..8].iter().map(|byte| format!("{byte:02x}")).collect();
        let short = short_dir.unwrap_or(Path::new("/tmp")).join(format!("holt-{name}"));
        if socket(&short).as_os_str().len() <= SOCKET_PATH_LIMIT {
            return Ok(short);
        }
        Err(Error::SocketPathTooLong { socket: socket(&short), limit: SOCKET_PATH_LIMIT })
    }
}

fn socket(dir: &Path) -> PathBuf {
    dir.join(format!(".s.PGSQL.{PORT}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with_socket_of(length: usize) -> Layout {
        let tail = "/socket/.s.PGSQL.5432".len();
        Layout { root: format!("/{}", "d".repeat(length - tail - 1)).into() }
    }

    #[test]
    fn the_socket_moves_as_soon_as_its_path_is_one_byte_too_long() {
        let fits = with_socket_of(SOCKET_PATH_LIMIT);
        assert_eq!(fits.socket_dir(None).unwrap(), fits.root.join("socket"));

        let deep = with_socket_of(SOCKET_PATH_LIMIT + 1);
        let moved = deep.socket_dir(None).unwrap();
        assert!(moved.starts_with("/tmp"), "{}", moved.display());
        assert_eq!(moved, deep.socket_dir(None).unwrap(), "the same folder on every start");
        let other = with_socket_of(SOCKET_PATH_LIMIT + 2);
        assert_ne!(moved, other.socket_dir(None).unwrap(), "one folder for each cluster");
    }
}
