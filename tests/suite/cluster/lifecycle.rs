//! Starting, stopping, and starting again.

use std::{fs, os::unix::fs::PermissionsExt};

use holt_server::store::cluster::Error;

use super::{Cluster, connect, data, durable, kept, lives, postmaster, room, signal, text};

#[tokio::test]
async fn a_second_start_finds_what_the_first_left() {
    let room = room();
    let dir = room.path().join("data");

    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    let first = cluster.url("holt");
    let mut connection = connect(&cluster).await;
    sqlx::query("CREATE TABLE otters AS SELECT 'Brook' AS name").execute(&mut connection).await.unwrap();
    let server = postmaster(&data(&dir, &cluster));
    drop(connection);
    cluster.stop().await.unwrap();
    assert!(!lives(server), "stopped means gone");

    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    assert_eq!(cluster.url("holt"), first);
    assert_eq!(text(&mut connect(&cluster).await, "SELECT name FROM otters").await, "Brook");
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn nobody_else_can_get_in_and_commits_wait_for_the_disk() {
    let room = room();
    let dir = room.path().join("data");
    let cluster = Cluster::start(durable(&dir)).await.unwrap();

    let mut connection = connect(&cluster).await;
    for (query, expected) in [
        ("SHOW listen_addresses", ""),
        ("SHOW fsync", "on"),
        ("SHOW full_page_writes", "on"),
        ("SHOW synchronous_commit", "on"),
        ("SHOW data_checksums", "on"),
        ("SHOW server_encoding", "UTF8"),
        ("SELECT datcollate FROM pg_database WHERE datname = 'holt'", "C.UTF-8"),
        ("SELECT current_user::text", "holt_owner"),
    ] {
        assert_eq!(text(&mut connection, query).await, expected, "{query}");
    }

    let mode = |path: std::path::PathBuf| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let version = dir.join(cluster.major().to_string());
    assert_eq!(mode(version.join("password")), 0o600);
    for private in [&version, &dir.join("socket"), &dir.join("log")] {
        assert_eq!(mode(private.clone()), 0o700, "{}", private.display());
    }

    let mut wrong = cluster.address().clone();
    wrong.password = "guessed".to_owned();
    let refused = <sqlx::PgConnection as sqlx::Connection>::connect(&wrong.url("holt")).await.unwrap_err();
    let code = refused.into_database_error().unwrap().code().unwrap().into_owned();
    assert_eq!(code, "28P01", "invalid_password: PostgreSQL manual, appendix A");
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn dropped_and_started_again_at_once() {
    let room = room();
    let dir = room.path().join("data");
    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    let server = postmaster(&data(&dir, &cluster));
    drop(cluster);

    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    assert!(!lives(server), "the lock is not given on before the old server has gone");
    text(&mut connect(&cluster).await, "SELECT 'it answers'").await;
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn a_folder_too_deep_for_a_socket_gets_one_elsewhere() {
    let room = room();
    let dir = room.path().join("d".repeat(100)).join("data");
    let cluster = Cluster::start(kept(&dir)).await.unwrap();
    let elsewhere = cluster.address().socket_dir.clone();
    assert!(elsewhere.starts_with("/tmp"), "{}", elsewhere.display());
    text(&mut connect(&cluster).await, "SELECT 'it answers'").await;
    cluster.stop().await.unwrap();
    fs::remove_dir(elsewhere).unwrap();
}

#[tokio::test]
async fn a_server_that_ends_by_itself_is_noticed_with_its_last_words() {
    let room = room();
    let dir = room.path().join("data");
    let mut cluster = Cluster::start(kept(&dir)).await.unwrap();
    signal("INT", postmaster(&data(&dir, &cluster)));
    let error = cluster.ended().await;
    assert!(matches!(error, Error::Ended { .. }));
    assert!(error.to_string().contains("database system is shut down"), "{error}");
    cluster.stop().await.unwrap();
}
