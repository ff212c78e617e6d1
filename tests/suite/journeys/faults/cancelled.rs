//! A caller who goes away at any point loses nothing, half-writes nothing, and poisons nothing.

use super::weights;
use chrono::TimeDelta;
use holt_proto::v1::ReadingOutcome;
use holt_server::access::permit::Caller;
use holt_server::access::roles::Deed;
use holt_server::model::request::Request;
use holt_server::store::{Limits, connect};
use holt_tests::house::start_of_time;
use holt_tests::{House, cluster};
use sea_orm::{ConnectionTrait, DbBackend, Statement};
use sqlx::Connection;
use std::pin::pin;
use std::task::{Context, Waker};
use std::time::Duration;

/// Calls are dropped after more and more of their way. Each is then sent again: the answer is complete,
/// and every reading is there exactly once.
#[tokio::test(flavor = "multi_thread")]
async fn calls_dropped_anywhere_are_done_whole_or_not_at_all() {
    let house = House::new().await;
    let park = house.quill().await;
    for name in ["Bramble", "Sedge"] {
        house.otter(&park, name).await;
    }
    const CALLS: i64 = 60;
    for n in 0..CALLS {
        let at = start_of_time() - TimeDelta::days(90) + TimeDelta::days(n);
        let round = house.round("QUI", &[("Bramble", at, 8000 + n), ("Sedge", at, 7000 + n)]);
        let mut client = park.keeper.client.weights();
        let patience = Duration::from_micros(300 * u64::try_from(n).unwrap());
        let _ = tokio::time::timeout(patience, client.record_weights(round.clone())).await;
        let answer = client.record_weights(round).await.unwrap().into_inner();
        for answer in answer.answers {
            assert_ne!(answer.outcome(), ReadingOutcome::Refused, "{answer:?}");
            assert_ne!(answer.outcome(), ReadingOutcome::Repeat, "a whole round is answered as it was first");
        }
    }
    assert_eq!(weights(&house).await, 2 * CALLS);
    house.close().await;
}

/// sqlx 0.9 hands a connection back inside an open transaction when the future that begins it is dropped
/// in flight (transact-rs/sqlx #4385, #4393): the next borrower's writes are acknowledged and vanish. Here
/// a connection is put into that state on purpose.
#[tokio::test]
async fn a_connection_left_inside_a_transaction_is_freed_of_it_before_its_next_use() {
    let url = cluster::database().await;
    let limits = Limits { connections: 1, acquire: Duration::from_secs(10) };
    let pool = connect(&cluster::serving(&url), limits).await.unwrap();
    pool.execute_unprepared("BEGIN; SELECT pg_current_xact_id()").await.unwrap();
    let asked =
        Statement::from_string(DbBackend::Postgres, "SELECT pg_current_xact_id_if_assigned() IS NOT NULL");
    let row = pool.query_one_raw(asked).await.unwrap().unwrap();
    let inside: bool = row.try_get_by_index(0).unwrap();
    assert!(!inside, "the statement ran inside the transaction that was left open");
}

/// The same through the server's own door: the future is dropped after more and more of its way, and never at the
/// end of it, for somebody holds the last step.
#[tokio::test(flavor = "multi_thread")]
async fn a_write_that_is_dropped_while_it_begins_loses_nobody_elses() {
    let house = House::with(|config| config.store.max_connections = 1).await;
    let park = house.quill().await;
    house.otter(&park, "Bramble").await;
    let mut holding = house.owner().await;
    for polls in 1..12 {
        sqlx::raw_sql("BEGIN; SELECT holt_settle()").execute(&mut holding).await.unwrap();
        {
            let request = Request {
                id: house.records.store.new_id(),
                method: "test",
                digest: [0; 32],
                validate_only: false,
            };
            let leave = Caller::itself().reach(Deed::Register).unwrap();
            let mut begin = pin!(house.records.store.write::<()>(&leave, &request));
            let mut context = Context::from_waker(Waker::noop());
            for _ in 0..polls {
                assert!(
                    begin.as_mut().poll(&mut context).is_pending(),
                    "nobody begins while the lock is held"
                );
                // Gives the socket time between polls, so that each drop is at another place.
                tokio::time::sleep(Duration::from_millis(2)).await;
            }
        }
        sqlx::raw_sql("ROLLBACK").execute(&mut holding).await.unwrap();
        let at = start_of_time() - TimeDelta::days(polls);
        let round = house.round("QUI", &[("Bramble", at, 8000)]);
        park.keeper.client.weights().record_weights(round).await.unwrap();
        assert_eq!(weights(&house).await, polls, "what was acknowledged is there");
    }
    holding.close().await.unwrap();
    house.close().await;
}
