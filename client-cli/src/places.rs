//! Where files are kept: the XDG Base Directory Specification, 0.8.

use crate::failure::Failure;
use crate::world::World;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The folders that hold what Holt keeps on this machine.
#[derive(Clone, Debug)]
pub(crate) struct Places {
    config: Option<PathBuf>,
    state: Option<PathBuf>,
}

impl Places {
    pub(crate) fn of(world: &World) -> Self {
        // The specification: what is not absolute is ignored.
        let folder = |name: &str| world.variable(name).map(PathBuf::from).filter(|path| path.is_absolute());
        let below_home = |below: &str| folder("HOME").map(|home| home.join(below));
        Self {
            config: folder("XDG_CONFIG_HOME").or_else(|| below_home(".config")),
            state: folder("XDG_STATE_HOME").or_else(|| below_home(".local/state")),
        }
    }

    /// The file that holds server and site; none where there is no home to keep it in.
    pub(crate) fn profile(&self) -> Option<PathBuf> {
        self.config.as_ref().map(|folder| folder.join("holt/profile.toml"))
    }

    /// The folder that holds tokens.
    pub(crate) fn state(&self) -> Result<PathBuf, Failure> {
        self.state.as_ref().map(|folder| folder.join("holt")).ok_or_else(homeless)
    }
}

/// There is nowhere to keep a file.
pub(crate) fn homeless() -> Failure {
    Failure::machine(
        "there is no folder to keep files in",
        "set HOME, or XDG_CONFIG_HOME and XDG_STATE_HOME, to absolute paths",
    )
}

/// Makes a folder that nobody else may look into.
pub(crate) fn make_folder(folder: &Path) -> io::Result<()> {
    let mut builder = std::fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)
}

/// Replaces a file in one step: whoever reads it sees the old one or the new one. It is made with mode
/// 0600.
pub(crate) fn replace(path: &Path, content: &str) -> io::Result<()> {
    // A link stays one, and what it leads to is replaced.
    let path = &path.canonicalize().unwrap_or_else(|_| path.to_owned());
    beside(path, content)?.persist(path)?;
    Ok(())
}

/// Writes a file in one step that must not be there yet. It is made with mode 0600.
pub(crate) fn write_new(path: &Path, content: &str) -> io::Result<()> {
    beside(path, content)?.persist_noclobber(path)?;
    Ok(())
}

/// The content in a file of the same folder, which is gone unless it is kept.
fn beside(path: &Path, content: &str) -> io::Result<tempfile::NamedTempFile> {
    // The folder of a bare name is the one that one is in.
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    make_folder(folder)?;
    let mut file = tempfile::NamedTempFile::new_in(folder)?;
    file.write_all(content.as_bytes())?;
    file.as_file().sync_all()?;
    Ok(file)
}
