//! The first start: one set of tables, one steward, told once.

use holt_server::app;
use holt_server::config::{Config, Surroundings};
use holt_server::records::people;
use holt_server::store::secret::Secret;
use holt_tests::cluster;
use sqlx::{Connection, PgConnection};

/// Opens a server over a database as `holtd` does.
async fn open(url: &str, folder: &std::path::Path) -> app::House {
    let mut config = Config::defaults().unwrap();
    config.store.database_url = Secret::new(url.to_owned());
    config.store.data_dir = folder.to_owned();
    config.store.max_connections = 4;
    app::House::open(&config, &Surroundings::default()).await.unwrap()
}

#[tokio::test]
async fn servers_that_start_at_once_on_an_empty_database_make_one_steward() {
    let url = cluster::empty_database("first_start").await;
    let folder = tempfile::tempdir().unwrap();
    let opened = [(); 4].map(|()| open(&url, folder.path()));
    let houses = futures::future::join_all(opened).await;
    let told: Vec<&(String, String)> =
        houses.iter().filter_map(|house| house.first_steward.as_ref()).collect();
    let [(name, password)] = told.as_slice() else { panic!("told {} times", told.len()) };
    let mut owner = PgConnection::connect(&url).await.unwrap();
    let found: (i64, i64, i64) = sqlx::query_as(
        "SELECT (SELECT count(*) FROM people WHERE id <> '00000000-0000-0000-0000-000000000000'),
                (SELECT count(*) FROM grants WHERE role = 'steward' AND site_id IS NULL AND superseded_at IS NULL),
                (SELECT count(*) - count(DISTINCT version) FROM _sqlx_migrations)",
    )
    .fetch_one(&mut owner)
    .await
    .unwrap();
    assert_eq!(found, (1, 1, 0), "people, stewards, migrations run twice");
    // Whichever server one comes to, the password opens it, and must be changed.
    for house in &houses {
        let signed_in = people::sign_in(&house.records, name, password).await.unwrap();
        assert!(signed_in.must_change_password);
    }
    // A later start has nothing to tell.
    assert_eq!(open(&url, folder.path()).await.first_steward, None);
    for house in &houses {
        house.records.store.close().await;
    }
}
