//! What is refused, and whether the refusal says what, where and what to do instead.

use std::{
    fs,
    os::unix::fs::{PermissionsExt, symlink},
    path::Path,
};

use holt_server::store::cluster::Error;

use super::{Cluster, Settings, data, for_one_run, kept, room};

/// Starts, expecting a refusal whose message has all these parts.
async fn refused(settings: Settings, parts: &[&str]) -> Error {
    let Err(error) = Cluster::start(settings).await else { panic!("it started") };
    let message = error.to_string();
    for part in parts {
        assert!(message.contains(part), "{part:?} is not in: {message}");
    }
    error
}

fn words(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[tokio::test]
async fn a_second_server_on_one_folder() {
    let room = room();
    let dir = room.path().join("data");
    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    let us = format!("process {}", std::process::id());
    let error = refused(kept(&dir), &["another holtd", &us, words(&dir), "`store.data_dir`"]).await;
    assert!(matches!(error, Error::Held { .. }));
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn a_socket_path_that_is_too_long() {
    let room = room();
    let deep = room.path().join("d".repeat(100));
    let settings = Settings { short_dir: Some(room.path().join("e".repeat(100))), ..kept(&deep) };
    let error = refused(settings, &["bytes long", "the system allows", "`store.data_dir`"]).await;
    let Error::SocketPathTooLong { socket, limit } = error else { panic!("{error}") };
    assert!(socket.as_os_str().len() > limit);
}

#[tokio::test]
async fn a_closed_folder_on_the_way() {
    let room = room();
    let closed = room.path().join("closed");
    fs::create_dir(&closed).unwrap();
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o600)).unwrap();
    let wanted = closed.join("further/data");
    let error = refused(kept(&wanted), &["may not enter", words(&wanted), "chmod o+x"]).await;
    let Error::Closed { folder, .. } = error else { panic!("{error}") };
    assert_eq!(folder, closed);
}

#[tokio::test]
async fn a_folder_with_other_files() {
    let room = room();
    let dir = room.path().join("letters");
    fs::create_dir(&dir).unwrap();
    fs::write(dir.join("to the vet"), "").unwrap();
    refused(kept(&dir), &[words(&dir), "`to the vet`", "not a data folder of Holt"]).await;
    refused(for_one_run(&dir), &[words(&dir), "is not empty", "new folder"]).await;
    assert!(dir.join("to the vet").exists());
}

#[tokio::test]
async fn a_cluster_for_one_run_where_data_are_kept() {
    let room = room();
    let dir = room.path().join("data");
    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    let data = data(&dir, &cluster);
    cluster.stop().await.unwrap();
    let error = refused(for_one_run(&dir), &[words(&dir), "is not empty"]).await;
    assert!(matches!(error, Error::NotEmpty { .. }));
    assert!(data.join("PG_VERSION").exists());
}

#[tokio::test]
async fn a_folder_of_somebody_else() {
    // Root takes over what others own; for root the same folder is simply full of other things.
    let root = fs::read_dir("/root").is_ok();
    let error = refused(kept("/usr"), &["/usr", "`store.data_dir`"]).await;
    match error {
        Error::ForeignFolder { .. } => assert!(root),
        Error::NotYours { owner, .. } => assert_eq!((root, owner), (false, 0)),
        other => panic!("{other}"),
    }
}

#[tokio::test]
async fn data_of_another_major_version() {
    let room = room();
    let dir = room.path().join("data");
    fs::create_dir_all(dir.join("9/data")).unwrap();
    fs::write(dir.join("9/data/PG_VERSION"), "9\n").unwrap();
    fs::write(dir.join("lock"), "").unwrap();
    let error =
        refused(kept(&dir), &["written by PostgreSQL 9", words(&dir), "`store.postgres_bin`", "dump"]).await;
    assert!(matches!(error, Error::OtherMajor { data: 9, .. }));
}

#[tokio::test]
async fn a_folder_without_the_programs() {
    let room = room();
    let settings = Settings { bin_dir: Some(room.path().into()), ..kept(room.path().join("data")) };
    refused(settings, &["`store.postgres_bin`", words(room.path()), "no `initdb`", "pg_config --bindir"])
        .await;
    assert!(!room.path().join("data").exists(), "nothing is made for nothing");
}

#[tokio::test]
async fn a_socket_folder_that_may_be_in_other_hands() {
    let room = room();
    let dir = room.path().join("data");
    Cluster::start(kept(&dir)).await.unwrap().stop().await.unwrap();
    fs::remove_dir(dir.join("socket")).unwrap();
    symlink("/tmp", dir.join("socket")).unwrap();
    refused(kept(&dir), &[words(&dir.join("socket")), "it is a link", "Remove it"]).await;
}

#[tokio::test]
async fn data_without_their_password() {
    let room = room();
    let dir = room.path().join("data");
    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    let password = dir.join(cluster.major().to_string()).join("password");
    cluster.stop().await.unwrap();
    fs::remove_file(&password).unwrap();
    refused(kept(&dir), &[words(&password), "is missing", "backup"]).await;
}

#[tokio::test]
async fn a_server_that_cannot_start_and_the_folder_is_free_afterwards() {
    let room = room();
    let dir = room.path().join("data");
    let broken = Settings { extra: vec![("shared_buffers".into(), "a lot".into())], ..kept(&dir) };
    let error = refused(broken, &[words(&dir), "shared_buffers", "a lot"]).await;
    assert!(matches!(error, Error::Ended { .. }));
    Cluster::start(kept(&dir)).await.unwrap().stop().await.unwrap();
}
