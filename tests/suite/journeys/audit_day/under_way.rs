//! A write that is under way while a report is asked for is in it, or comes after its instant.

use super::Month;
use holt_proto::time::timestamp;
use holt_server::clock::Clock;
use sqlx::Connection;

/// The lock that each write takes as it begins; the owner may not open a door.
const BEGIN: &str = "SELECT pg_advisory_xact_lock_shared(x'3217E'::int)";

#[tokio::test]
async fn a_report_of_now_waits_for_the_writes_that_began_before_it() {
    let month = Month::new().await;
    let mut writer = month.house.owner().await;
    let mut watcher = month.house.owner().await;
    let mut write = writer.begin().await.unwrap();
    sqlx::query(BEGIN).execute(&mut *write).await.unwrap();
    let question = Month::question("2026-03-31", None);
    let (answer, ended_at) = tokio::join!(month.ask(question), async {
        month.house.until_waiting(&mut watcher, 1).await;
        let ended_at = timestamp(month.house.clock.now());
        write.rollback().await.unwrap();
        ended_at
    });
    let known_at = answer.as_known_at.unwrap();
    assert!((known_at.seconds, known_at.nanos) > (ended_at.seconds, ended_at.nanos));
    month.house.close().await;
}

#[tokio::test]
async fn it_says_so_where_that_takes_too_long_and_answers_for_what_is_past() {
    let month = Month::new().await;
    let mut writer = month.house.owner().await;
    let mut write = writer.begin().await.unwrap();
    sqlx::query(BEGIN).execute(&mut *write).await.unwrap();
    let reports = month.quill.auditor.client.reports();
    let now = Month::question("2026-03-31", None);
    let refused = reports.clone().get_site_day(now.clone()).await.unwrap_err();
    assert_eq!(holt_tests::reason(&refused), "CONTENTION");
    month.ask(Month::question("2026-03-31", Some("2026-03-31T23:00:00Z"))).await;
    write.rollback().await.unwrap();
    month.ask(now).await;
    month.house.close().await;
}
