//! Many at once: none is taken out twice.

use super::{left, pair, young};
use crate::journeys::registration::Books;
use holt_proto::v1;
use holt_tests::{House, reason};

#[tokio::test]
async fn of_many_at_once_as_many_are_told_apart_as_were_there() {
    let house = House::with(|config| {
        config.store.max_connections = 12;
        config.store.acquire_seconds = 60;
        config.server.call_seconds = 120;
    })
    .await;
    let park = house.quill().await;
    let books = Books { house, park };
    books.arrived(books.arrival("Bramble", "2025-03-01")).await.unwrap();
    let litter = v1::RecordLitterRequest { sires: Vec::new(), young: young("0.0.7"), ..books.litter() };
    let litter = books.littered(litter).await.unwrap();
    let apart =
        async || books.told_apart(books.apart(&litter, "2026-03-02", v1::Sex::Male)).await.map(|_| ());
    let died = async || books.young_died(&litter, "2026-03-01", "0.0.1").await.map(|_| ());
    let mut all: Vec<std::pin::Pin<Box<dyn Future<Output = _>>>> = Vec::new();
    for _ in 0..8 {
        all.push(Box::pin(apart()));
        all.push(Box::pin(died()));
    }
    let done = futures::future::join_all(all).await;
    let (well, refused): (Vec<_>, Vec<_>) = done.into_iter().partition(Result::is_ok);
    assert_eq!(well.len(), 7);
    assert!(refused.iter().all(|refused| reason(refused.as_ref().unwrap_err()) == "LITTER_TOO_FEW"));
    let litter = books.litter_as_of(&litter.id, None, None).await.unwrap();
    assert_eq!(left(&litter), "0.0.0");
    assert_eq!(litter.version, 8);
    books.house.close().await;
}

/// Were the code to forget the lock, the database would not: two writers at once, each of whom sees enough
/// young left, cannot both commit.
#[tokio::test]
async fn the_database_itself_lets_no_count_fall_below_none() {
    let books = pair().await;
    let litter = v1::RecordLitterRequest { young: young("0.0.1"), ..books.litter() };
    let litter = books.littered(litter).await.unwrap();
    let die = "INSERT INTO litter_changes
                 SELECT gen_random_uuid(), l.id, l.site_id, 'died', '2026-03-01', 0, 0, 1, NULL, 'natural', '',
                        now(), l.recorded_by, gen_random_uuid()
                   FROM litters l WHERE l.id = $1::text::uuid";
    let (mut one, mut two) = (books.house.owner().await, books.house.owner().await);
    let mut watcher = books.house.owner().await;
    for writer in [&mut one, &mut two] {
        sqlx::raw_sql("BEGIN").execute(&mut *writer).await.unwrap();
        sqlx::query(die).bind(&litter.id).execute(&mut *writer).await.unwrap();
    }
    // The first holds the litter's row from its check until its commit; the second waits for it.
    sqlx::raw_sql("SET CONSTRAINTS ALL IMMEDIATE").execute(&mut one).await.unwrap();
    let waiting = tokio::spawn(async move {
        let refused = sqlx::raw_sql("SET CONSTRAINTS ALL IMMEDIATE").execute(&mut two).await.unwrap_err();
        refused.into_database_error().unwrap().constraint().map(str::to_owned)
    });
    books.house.until_waiting(&mut watcher, 1).await;
    sqlx::raw_sql("COMMIT").execute(&mut one).await.unwrap();
    assert_eq!(waiting.await.unwrap().as_deref(), Some("litter_changes_holds_out_guard"));
    // Not `close`: the ledger has no entry for what was written past the doors.
    books.house.stop().await;
}
