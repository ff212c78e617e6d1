//! A process with a cluster, for other tests to kill.

use std::{
    env,
    fs::{self, File},
    io::{BufRead, BufReader},
    path::Path,
    process::{Child, ChildStdout, Command, Stdio},
};

use super::{Cluster, connect, durable, for_one_run};

const DIR: &str = "HOLT_TEST_PARENT_DIR";
const ONE_RUN: &str = "HOLT_TEST_PARENT_ONE_RUN";

/// A process that keeps a cluster and adds rows to it, one after the other, for ever.
pub(super) struct Parent {
    child: Child,
    said: BufReader<ChildStdout>,
}

impl Parent {
    pub(super) fn start(dir: &Path, one_run: bool) -> Self {
        let (_, module) = module_path!().split_once("::").unwrap();
        let mut command = Command::new(env::current_exe().unwrap());
        command
            .args(["--ignored", "--nocapture", "--exact"])
            .arg(format!("{module}::keeps_a_cluster_until_killed"));
        command.env(DIR, dir).stdout(Stdio::piped());
        if one_run {
            command.env(ONE_RUN, "yes");
        }
        let mut child = command.spawn().unwrap();
        let said = BufReader::new(child.stdout.take().unwrap());
        Self { child, said }
    }

    /// Waits until this many rows are acknowledged.
    pub(super) fn wait_for_rows(&mut self, rows: i32) {
        let mut line = String::new();
        while acknowledged(&line) != Some(rows) {
            line.clear();
            assert_ne!(self.said.read_line(&mut line).unwrap(), 0, "the parent ended before row {rows}");
        }
    }

    /// Its ends of pipes to other processes: as long as somebody holds these, its watchdog notices nothing.
    pub(super) fn pipes(&self) -> Vec<File> {
        let open = fs::read_dir(format!("/proc/{}/fd", self.child.id())).unwrap().flatten();
        let own = open.filter(|entry| entry.file_name().to_str().unwrap().parse::<u32>().unwrap() > 2);
        let pipes = own.filter(|entry| {
            fs::read_link(entry.path()).is_ok_and(|name| name.to_string_lossy().starts_with("pipe:"))
        });
        // One that the process was given by another user cannot be opened, and is not the one in question.
        pipes.filter_map(|entry| File::options().write(true).open(entry.path()).ok()).collect()
    }

    /// Kills the process outright; gives the last row that it was told is safe.
    pub(super) fn kill(mut self) -> i32 {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        (&mut self.said)
            .lines()
            .map_while(Result::ok)
            .filter_map(|line| acknowledged(&line))
            .last()
            .unwrap_or(0)
    }
}

impl Drop for Parent {
    fn drop(&mut self) {
        // A test that failed must leave nothing running.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn acknowledged(line: &str) -> Option<i32> {
    line.strip_prefix("row ")?.trim_end().parse().ok()
}

#[tokio::test]
#[ignore = "not a test of its own: the others start it as a process to kill"]
async fn keeps_a_cluster_until_killed() {
    let Some(dir) = env::var_os(DIR) else { return };
    let settings = if env::var_os(ONE_RUN).is_some() { for_one_run(&dir) } else { durable(&dir) };
    let cluster = Cluster::start(settings).await.unwrap();
    let mut connection = connect(&cluster).await;
    sqlx::query("CREATE TABLE IF NOT EXISTS told (n int PRIMARY KEY)")
        .execute(&mut connection)
        .await
        .unwrap();
    for n in 1.. {
        sqlx::query("INSERT INTO told VALUES ($1)").bind(n).execute(&mut connection).await.unwrap();
        println!("row {n}");
    }
}
