//! The server process: how it is called, and when it is ready.

use std::{
    fs,
    path::Path,
    process::{Child, Stdio},
    thread,
    time::{Duration, Instant},
};

use super::{
    account::Account,
    error::{Doing, Error},
    find::Binaries,
    folder,
    layout::{Layout, PORT},
    log,
    settings::Settings,
};

/// Generous: after a loss of power the server replays its log before it answers.
const PATIENCE: Duration = Duration::from_secs(600);

/// Starts the server; it is not yet ready.
pub(super) fn spawn(
    layout: &Layout,
    account: &Account,
    binaries: &Binaries,
    socket_dir: &Path,
    settings: &Settings,
) -> Result<Child, Error> {
    let startup = layout.startup_log();
    let said = folder::fresh_file(&startup, 0o600)?;
    folder::private(&layout.log(), account)?;
    let program = binaries.dir.join("postgres");
    let mut command = account.command(&program);
    command.arg("-D").arg(layout.data(binaries.major));
    for (name, value) in parameters(layout, socket_dir, settings) {
        command.arg("-c").arg(format!("{name}={value}"));
    }
    let also = said.try_clone().doing("share", &startup)?;
    command.stdout(Stdio::from(said)).stderr(Stdio::from(also)).spawn().doing("run", program)
}

/// Waits until the server answers, or has ended.
pub(super) fn wait_until_ready(child: &mut Child, layout: &Layout, major: u32) -> Result<(), Error> {
    let begun = Instant::now();
    let mut told = 0;
    let pid_file = layout.data(major).join("postmaster.pid");
    loop {
        if let Some(status) = child.try_wait().doing("wait for the server on", &layout.root)? {
            let (dir, log, said) = (layout.root.clone(), layout.log(), log::tail(layout));
            return Err(Error::Ended { dir, status, log, said });
        }
        if is_ready(&fs::read_to_string(&pid_file).unwrap_or_default(), child.id()) {
            return Ok(());
        }
        let waited = begun.elapsed();
        if waited > PATIENCE {
            let (dir, log, said) = (layout.root.clone(), layout.log(), log::tail(layout));
            return Err(Error::TooSlow { dir, seconds: PATIENCE.as_secs(), log, said });
        }
        if waited.as_secs() / 10 > told {
            told = waited.as_secs() / 10;
            tracing::warn!(
                seconds = waited.as_secs(),
                "PostgreSQL on {} is still starting, perhaps recovering",
                layout.root.display()
            );
        }
        thread::sleep(Duration::from_millis(10));
    }
}

/// Whether `postmaster.pid` says that this process is ready: the first line is its number, the eighth its
/// state ("postmaster.pid" in PostgreSQL's `src/include/utils/pidfile.h`).
fn is_ready(pid_file: &str, pid: u32) -> bool {
    let mut lines = pid_file.lines();
    lines.next().and_then(|line| line.parse().ok()) == Some(pid)
        && lines.nth(6).is_some_and(|state| state.trim_end() == "ready")
}

/// The parameters in order: of two with the same name the later counts, so what this module relies on
/// stands after what the caller may decide.
fn parameters(layout: &Layout, socket_dir: &Path, settings: &Settings) -> Vec<(String, String)> {
    let on_off = |on: bool| if on { "on" } else { "off" };
    let mut all: Vec<(&str, String)> = vec![
        ("max_connections", if settings.ephemeral { "300" } else { "100" }.to_owned()),
        ("shared_buffers", "128MB".to_owned()),
        // Compiling a plan takes longer than running any that there is here.
        ("jit", "off".to_owned()),
    ];
    if !settings.durable {
        all.extend([
            ("synchronous_commit", "off".to_owned()),
            ("wal_level", "minimal".to_owned()),
            ("max_wal_senders", "0".to_owned()),
            ("max_wal_size", "4GB".to_owned()),
            ("checkpoint_timeout", "1h".to_owned()),
        ]);
    }
    all.extend(settings.extra.iter().map(|(name, value)| (name.as_str(), value.clone())));
    all.extend([
        ("port", PORT.to_string()),
        ("listen_addresses", String::new()),
        ("unix_socket_directories", quoted(&socket_dir.to_string_lossy())),
        ("unix_socket_permissions", "0700".to_owned()),
        ("fsync", on_off(settings.durable).to_owned()),
        ("full_page_writes", on_off(settings.durable).to_owned()),
        ("timezone", "UTC".to_owned()),
        ("log_timezone", "UTC".to_owned()),
        // Statements carry what keepers write about animals and people; that belongs in tables only.
        ("log_min_error_statement", "panic".to_owned()),
        ("logging_collector", "on".to_owned()),
        ("log_destination", "stderr".to_owned()),
        ("log_directory", layout.log().to_string_lossy().into_owned()),
        ("log_filename", "postgres-%a.log".to_owned()),
        ("log_rotation_age", "1d".to_owned()),
        ("log_rotation_size", "0".to_owned()),
        ("log_truncate_on_rotation", "on".to_owned()),
    ]);
    all.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
}

/// One entry of a list, whatever characters it has.
fn quoted(entry: &str) -> String {
    format!("\"{}\"", entry.replace('"', "\"\""))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_eighth_line_of_its_own_file_says_that_a_server_is_ready() {
        let file = |state: &str| format!("411\n/d\n1764065000\n5432\n/s\n\n  1234  0\n{state}\n");
        assert!(is_ready(&file("ready   "), 411));
        assert!(!is_ready(&file("starting"), 411));
        assert!(!is_ready(&file("ready   "), 412), "left over from another process");
        assert!(!is_ready("411\n/d\n", 411), "not yet whole");
        assert!(!is_ready("", 411));
    }

    #[test]
    fn what_the_module_relies_on_comes_after_what_the_caller_decides() {
        let mut settings = Settings::kept("/d");
        settings.extra = vec![("fsync".into(), "off".into()), ("max_connections".into(), "7".into())];
        let all = parameters(&Layout { root: "/d".into() }, Path::new("/d/socket"), &settings);
        let last =
            |wanted: &str| all.iter().rfind(|(name, _)| name == wanted).map(|(_, value)| value.as_str());
        assert_eq!(last("fsync"), Some("on"));
        assert_eq!(last("max_connections"), Some("7"));
        assert_eq!(last("listen_addresses"), Some(""));
    }
}
