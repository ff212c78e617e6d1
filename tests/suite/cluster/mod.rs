//! The private PostgreSQL: it starts, survives what kills it, and says what it refuses.
//!
//! Real servers, as root (who then runs them as another user) and as an ordinary user alike.

#![cfg(test)]

mod leftovers;
mod lifecycle;
mod one_run;
mod parent;
mod refusals;

use std::{
    fs,
    os::unix::{fs::MetadataExt, fs::PermissionsExt, process::CommandExt},
    path::{Path, PathBuf},
    process::Command,
    time::{Duration, Instant},
};

use holt_server::store::cluster::{Cluster, Settings};
use sqlx::{Connection, PgConnection};
use tempfile::TempDir;

/// A folder that the database's user can reach, under a name that needs care wherever it is quoted.
fn room() -> TempDir {
    let room = tempfile::Builder::new().prefix("old otter's säle ").tempdir().unwrap();
    fs::set_permissions(room.path(), fs::Permissions::from_mode(0o755)).unwrap();
    room
}

/// A cluster as people have it.
fn durable(dir: impl Into<PathBuf>) -> Settings {
    Settings { path: std::env::var_os("PATH"), ..Settings::kept(dir) }
}

/// A cluster that stays after its end but never waits for the disk: where that is not the question.
fn kept(dir: impl Into<PathBuf>) -> Settings {
    Settings { durable: false, ..durable(dir) }
}

fn for_one_run(dir: impl Into<PathBuf>) -> Settings {
    Settings { path: std::env::var_os("PATH"), ..Settings::for_one_run(dir) }
}

async fn connect(cluster: &Cluster) -> PgConnection {
    PgConnection::connect(&cluster.url("holt")).await.unwrap()
}

async fn text(connection: &mut PgConnection, query: &'static str) -> String {
    sqlx::query_scalar(query).fetch_one(connection).await.unwrap()
}

fn data(dir: &Path, cluster: &Cluster) -> PathBuf {
    dir.join(cluster.major().to_string()).join("data")
}

/// The server's number, from its own file.
fn postmaster(data: &Path) -> u32 {
    let text = fs::read_to_string(data.join("postmaster.pid")).unwrap();
    text.lines().next().unwrap().parse().unwrap()
}

/// The watchdogs posted in a folder.
fn watchdogs(dir: &Path) -> Vec<u32> {
    let script = dir.join("watchdog.sh").into_os_string().into_encoded_bytes();
    let commands = fs::read_dir("/proc").unwrap().flatten().filter_map(|entry| {
        let command = fs::read(entry.path().join("cmdline")).ok()?;
        Some((entry.file_name().to_str()?.parse().ok()?, command))
    });
    commands
        .filter(|(_, command)| command.split(|&byte| byte == 0).nth(1) == Some(&script))
        .map(|(pid, _)| pid)
        .collect()
}

fn signal(name: &str, pid: u32) {
    let sent = Command::new("sh")
        .args(["-c", "kill -s \"$1\" \"$2\"", "sh", name, &pid.to_string()])
        .status()
        .unwrap();
    assert!(sent.success(), "no signal {name} to {pid}");
}

fn lives(pid: u32) -> bool {
    // Of a zombie only the number is left.
    fs::read_to_string(format!("/proc/{pid}/stat")).is_ok_and(|stat| !stat.contains(") Z "))
}

fn until(what: &str, mut done: impl FnMut() -> bool) {
    let limit = Instant::now() + Duration::from_secs(60);
    while !done() {
        assert!(Instant::now() < limit, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// A command that runs as the owner of a folder.
fn as_owner_of(dir: &Path, program: &str) -> Command {
    let about = fs::metadata(dir).unwrap();
    let mut command = Command::new(program);
    command.current_dir("/");
    if about.uid() != fs::metadata("/proc/self").unwrap().uid() {
        command.uid(about.uid()).gid(about.gid());
    }
    command
}
