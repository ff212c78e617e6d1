//! The database goes away under the server, and comes back.

use super::weights;
use holt_tests::house::start_of_time;
use holt_tests::{House, reason};
use sqlx::{Connection, PgConnection};
use tonic::Code;

#[tokio::test]
async fn connections_that_are_cut_are_told_as_away_and_replaced() {
    let house = House::new().await;
    let park = house.quill().await;
    house.otter(&park, "Bramble").await;
    let mut owner = house.owner().await;
    let round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
    let mut refused = 0;
    loop {
        sqlx::query(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity
              WHERE datname = current_database() AND pid <> pg_backend_pid()",
        )
        .execute(&mut owner)
        .await
        .unwrap();
        match park.keeper.client.weights().record_weights(round.clone()).await {
            Ok(_) => break,
            Err(away) => {
                assert_eq!((away.code(), reason(&away).as_str()), (Code::Unavailable, "AWAY"), "{away:?}");
                refused += 1;
                assert!(refused < 20, "it never recovered");
            }
        }
    }
    assert_eq!(weights(&house).await, 1);
    house.close().await;
}

#[tokio::test]
async fn a_database_that_lets_nobody_in_is_told_as_away() {
    let house = House::with(|config| config.store.acquire_seconds = 1).await;
    let park = house.quill().await;
    house.otter(&park, "Bramble").await;
    let mut owner = house.owner().await;
    let name: String = sqlx::query_scalar("SELECT current_database()").fetch_one(&mut owner).await.unwrap();
    let elsewhere = house.url.replace(&format!("/{name}?"), "/postgres?");
    let mut owner = PgConnection::connect(&elsewhere).await.unwrap();
    let allow =
        |allowed: bool| sqlx::AssertSqlSafe(format!("ALTER DATABASE {name} ALLOW_CONNECTIONS {allowed}"));
    sqlx::query(allow(false)).execute(&mut owner).await.unwrap();
    sqlx::query("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = $1")
        .bind(&name)
        .execute(&mut owner)
        .await
        .unwrap();
    let round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
    let away = park.keeper.client.weights().record_weights(round.clone()).await.unwrap_err();
    assert_eq!((away.code(), reason(&away).as_str()), (Code::Unavailable, "AWAY"), "{away:?}");
    sqlx::query(allow(true)).execute(&mut owner).await.unwrap();
    // The pool comes back by itself; a connection that was refused a moment ago may need another try.
    let mut tries = 0;
    while park.keeper.client.weights().record_weights(round.clone()).await.is_err() {
        tries += 1;
        assert!(tries < 20, "it never recovered");
    }
    assert_eq!(weights(&house).await, 1);
    house.close().await;
}
