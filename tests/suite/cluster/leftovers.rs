//! What a killed process leaves, and what the next one makes of it.

use std::{
    fs,
    path::{Path, PathBuf},
    pin::pin,
    process::Child,
    time::Duration,
};

use tokio::time::timeout;

use super::{
    Cluster, as_owner_of, connect, data, durable, kept, lives, parent::Parent, postmaster, room, signal,
    text, until, watchdogs,
};

/// Every row that was acknowledged is there, and no gap before the last.
async fn assert_rows(cluster: &Cluster, acknowledged: i32) {
    let found: (i64, i32) = sqlx::query_as("SELECT count(*), max(n) FROM told")
        .fetch_one(&mut connect(cluster).await)
        .await
        .unwrap();
    assert_eq!(found.0, i64::from(found.1), "a row is missing in between");
    assert!(found.1 >= acknowledged, "row {acknowledged} was acknowledged, the last one here is {}", found.1);
}

/// The folder of the data, before any cluster here can tell its version.
fn data_in(dir: &Path) -> PathBuf {
    let entries = fs::read_dir(dir).unwrap().flatten();
    entries.map(|entry| entry.path().join("data")).find(|data| data.join("PG_VERSION").exists()).unwrap()
}

#[tokio::test]
async fn acknowledged_rows_survive_the_death_of_the_process() {
    let room = room();
    let dir = room.path().join("data");
    let mut parent = Parent::start(&dir, false);
    parent.wait_for_rows(200);
    let server = postmaster(&data_in(&dir));
    let acknowledged = parent.kill().max(200);

    let cluster = Cluster::start(durable(&dir)).await.unwrap();
    assert!(!lives(server), "the new server came after the end of the old one");
    assert_rows(&cluster, acknowledged).await;
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn a_watchdog_that_comes_late_does_not_end_the_next_server() {
    let room = room();
    let dir = room.path().join("data");
    let mut parent = Parent::start(&dir, false);
    parent.wait_for_rows(50);
    let held = parent.pipes();
    assert!(!held.is_empty());
    let acknowledged = parent.kill().max(50);

    let mut starting = pin!(Cluster::start(kept(&dir)));
    let early = timeout(Duration::from_secs(1), &mut starting).await;
    assert!(early.is_err(), "it started before the old watchdog had done its work");
    drop(held);
    let cluster = starting.await.unwrap();
    assert_rows(&cluster, acknowledged).await;
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn a_server_whose_watchdog_was_killed_as_well_is_replaced() {
    let room = room();
    let dir = room.path().join("data");
    let mut parent = Parent::start(&dir, false);
    parent.wait_for_rows(50);
    let server = postmaster(&data_in(&dir));
    for watchdog in watchdogs(&dir) {
        signal("KILL", watchdog);
    }
    let acknowledged = parent.kill().max(50);
    assert!(lives(server), "it is an orphan");

    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    assert!(!lives(server));
    assert_ne!(postmaster(&data(&dir, &cluster)), server);
    assert_rows(&cluster, acknowledged).await;
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn what_a_killed_server_leaves_behind_is_waited_for() {
    let room = room();
    let dir = room.path().join("data");
    let mut parent = Parent::start(&dir, false);
    parent.wait_for_rows(50);
    let data = data_in(&dir);
    let server = postmaster(&data);
    let children = fs::read_to_string(format!("/proc/{server}/task/{server}/children")).unwrap();
    let children: Vec<u32> = children.split_whitespace().map(|pid| pid.parse().unwrap()).collect();
    // Stopped, they cannot notice that their parent has died, as one busy in a long query does not.
    for &child in &children {
        signal("STOP", child);
    }
    for watchdog in watchdogs(&dir) {
        signal("KILL", watchdog);
    }
    let acknowledged = parent.kill().max(50);
    signal("KILL", server);
    until("the server dies", || !lives(server));

    let mut starting = pin!(Cluster::start(kept(&dir)));
    let early = timeout(Duration::from_secs(1), &mut starting).await;
    assert!(early.is_err(), "it did not wait for the old server's children");
    for &child in &children {
        signal("CONT", child);
    }
    let cluster = starting.await.unwrap();
    assert_rows(&cluster, acknowledged).await;
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn a_server_in_the_middle_of_its_shutdown_is_waited_for() {
    let room = room();
    let dir = room.path().join("data");
    let mut parent = Parent::start(&dir, false);
    parent.wait_for_rows(50);
    let server = postmaster(&data_in(&dir));
    for watchdog in watchdogs(&dir) {
        signal("KILL", watchdog);
    }
    // The slowest way of stopping, waiting for the client that is about to be killed.
    signal("TERM", server);
    let acknowledged = parent.kill().max(50);

    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    assert!(!lives(server));
    assert_rows(&cluster, acknowledged).await;
    cluster.stop().await.unwrap();
}

/// A cluster on a folder whose files give another process's number as the server's.
async fn with_the_number_of(start_stranger: fn(&Path) -> Child, dir: &Path) -> (Cluster, Child) {
    let cluster = Cluster::start(kept(dir)).await.unwrap();
    let data = data(dir, &cluster);
    let pid_file = data.join("postmaster.pid");
    let socket_lock = cluster.address().socket_dir.join(".s.PGSQL.5432.lock");
    let (said, said_too) =
        (fs::read_to_string(&pid_file).unwrap(), fs::read_to_string(&socket_lock).unwrap());
    cluster.stop().await.unwrap();

    let stranger = start_stranger(&data);
    let forged = |text: &str| format!("{}\n{}", stranger.id(), text.split_once('\n').unwrap().1);
    fs::write(pid_file, forged(&said)).unwrap();
    fs::write(socket_lock, forged(&said_too)).unwrap();
    (Cluster::start(kept(dir)).await.unwrap(), stranger)
}

#[tokio::test]
async fn a_number_that_is_another_process_by_now_is_not_believed() {
    let room = room();
    let dir = room.path().join("data");
    let sleeper = |data: &Path| as_owner_of(data, "sleep").arg("60").spawn().unwrap();
    let (cluster, mut stranger) = with_the_number_of(sleeper, &dir).await;
    text(&mut connect(&cluster).await, "SELECT 'it answers'").await;
    cluster.stop().await.unwrap();
    assert!(stranger.try_wait().unwrap().is_none(), "the stranger was left alone");
    stranger.kill().unwrap();
    stranger.wait().unwrap();
}

#[tokio::test]
async fn a_number_that_is_a_zombie_is_not_believed() {
    let room = room();
    let dir = room.path().join("data");
    let zombie = |data: &Path| {
        let child = as_owner_of(data, "true").spawn().unwrap();
        until("it is a zombie", || !lives(child.id()));
        child
    };
    let (cluster, mut stranger) = with_the_number_of(zombie, &dir).await;
    text(&mut connect(&cluster).await, "SELECT 'it answers'").await;
    cluster.stop().await.unwrap();
    stranger.wait().unwrap();
}

#[tokio::test]
async fn a_cluster_that_was_killed_while_being_made_is_made_again() {
    let room = room();
    let dir = room.path().join("data");
    let unfinished = || -> Vec<_> {
        let names = fs::read_dir(&dir).into_iter().flatten().flatten().map(|entry| entry.path());
        names.filter(|path| path.to_string_lossy().contains("/unfinished-")).collect()
    };
    let parent = Parent::start(&dir, false);
    until("initdb is at work", || unfinished().iter().any(|path| path.join("data/PG_VERSION").exists()));
    parent.kill();
    let half_made = unfinished();

    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    text(&mut connect(&cluster).await, "SELECT 'it answers'").await;
    cluster.stop().await.unwrap();
    assert_eq!(half_made.len(), 1);
}
