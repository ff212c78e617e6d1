//! Clusters for one run leave nothing behind.

use std::{
    fs,
    os::unix::fs::{MetadataExt, PermissionsExt},
    path::Path,
    process::Command,
    thread::sleep,
    time::Duration,
};

use holt_server::store::cluster::scratch;

use super::{
    Cluster, connect, data, for_one_run, parent::Parent, postmaster, room, signal, text, until, watchdogs,
};

#[tokio::test]
async fn it_does_not_wait_for_the_disk_and_goes_when_it_stops() {
    let room = room();
    let dir = scratch(room.path()).unwrap();
    let cluster = Cluster::start(for_one_run(&dir)).await.unwrap();
    let mut connection = connect(&cluster).await;
    assert_eq!(text(&mut connection, "SHOW fsync").await, "off");
    let connections: i32 = text(&mut connection, "SHOW max_connections").await.parse().unwrap();
    assert!(connections >= 200, "{connections} are too few for tests side by side");
    cluster.stop().await.unwrap();
    assert!(!dir.exists());
}

#[tokio::test]
async fn it_goes_when_it_is_dropped() {
    let room = room();
    let dir = scratch(room.path()).unwrap();
    drop(Cluster::start(for_one_run(&dir)).await.unwrap());
    until("the folder goes", || !dir.exists());
}

#[test]
fn it_goes_when_its_process_is_killed() {
    let room = room();
    let dir = scratch(room.path()).unwrap();
    let mut parent = Parent::start(&dir, true);
    parent.wait_for_rows(1);
    parent.kill();
    until("the folder goes", || !dir.exists());
}

#[test]
fn it_goes_when_its_process_is_killed_while_making_it() {
    let room = room();
    let dir = scratch(room.path()).unwrap();
    let parent = Parent::start(&dir, true);
    until("initdb is at work", || is_unfinished(&dir));
    parent.kill();
    until("the folder goes", || !dir.exists());
    // An orphaned initdb, if it still ran, would make it again.
    sleep(Duration::from_secs(1));
    assert!(!dir.exists());
}

fn is_unfinished(dir: &Path) -> bool {
    let names = fs::read_dir(dir).into_iter().flatten().flatten();
    names
        .filter(|entry| entry.file_name().to_string_lossy().starts_with("unfinished-"))
        .any(|entry| entry.path().join("data/PG_VERSION").exists())
}

#[tokio::test]
async fn the_next_run_removes_what_one_left_that_was_killed_with_its_watchdog() {
    let room = room();
    let dir = scratch(room.path()).unwrap();
    let mut parent = Parent::start(&dir, true);
    parent.wait_for_rows(1);
    for watchdog in watchdogs(&dir) {
        signal("KILL", watchdog);
    }
    parent.kill();
    assert!(dir.exists());

    let used = scratch(room.path()).unwrap();
    let cluster = Cluster::start(for_one_run(&used)).await.unwrap();
    let server = postmaster(&data(&used, &cluster));
    assert!(!dir.exists(), "what nobody holds is removed");
    let runs = used.parent().unwrap();
    fs::create_dir(runs.join("not made here")).unwrap();
    let next = scratch(room.path()).unwrap();
    assert_eq!(postmaster(&data(&used, &cluster)), server, "what is in use stays");
    assert!(runs.join("not made here").exists());
    fs::remove_dir(next).unwrap();
    cluster.stop().await.unwrap();
    let found = Command::new("ls").arg(runs).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&found.stdout), "not made here\n");
}

/// Whose a folder is, and who may do what in it.
fn rights(folder: &Path) -> (u32, u32, u32) {
    let about = fs::metadata(folder).unwrap();
    (about.uid(), about.gid(), about.mode())
}

#[tokio::test]
async fn the_folder_in_which_it_is_made_stays_whose_it_was() {
    // A folder of somebody's own, and one that everybody may write to, as `/tmp` is.
    for mode in [0o755, 0o1777] {
        let room = room();
        fs::set_permissions(room.path(), fs::Permissions::from_mode(mode)).unwrap();
        let before = rights(room.path());
        let dir = scratch(room.path()).unwrap();
        assert_eq!(rights(room.path()), before, "{mode:o}");
        let cluster = Cluster::start(for_one_run(&dir)).await.unwrap();
        assert_eq!(rights(room.path()), before, "{mode:o}");
        cluster.stop().await.unwrap();
        assert_eq!(rights(room.path()), before, "{mode:o}");
        assert_eq!(fs::read_dir(room.path()).unwrap().count(), 0, "nothing is left in it");
    }
}

#[tokio::test]
async fn a_run_that_ends_takes_no_folder_from_another() {
    let room = room();
    let (one, other) = (scratch(room.path()).unwrap(), scratch(room.path()).unwrap());
    Cluster::start(for_one_run(&one)).await.unwrap().stop().await.unwrap();
    let cluster = Cluster::start(for_one_run(&other)).await.unwrap();
    text(&mut connect(&cluster).await, "SELECT 'it answers'").await;
    cluster.stop().await.unwrap();
    assert_eq!(fs::read_dir(room.path()).unwrap().count(), 0);
}
