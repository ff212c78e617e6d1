//! Seals are made one after the other, whoever makes them, and cover every entry once.

use super::Past;
use futures::future::join_all;
use holt_proto::v1;
use holt_server::jobs::sealer;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

#[tokio::test]
async fn a_seal_covers_what_is_recorded_by_then_and_names_the_one_before_it() {
    let past = Past::new().await;
    let list = v1::ListSealsRequest::default();
    let seals = past.eyes().ledger().list_seals(list).await.unwrap().into_inner().seals;
    let numbers: Vec<i64> = seals.iter().map(|seal| seal.sequence).collect();
    assert_eq!(numbers, [3, 2, 1, 0]);
    for pair in seals.windows(2) {
        assert_eq!(pair[0].previous, pair[1].digest);
        assert!(pair[0].size > pair[1].size);
    }
    let verified = past.verify().await;
    assert_eq!((verified.unsealed, verified.found), (1, 0), "{:?}", verified.breaks);
    assert_eq!(verified.newest.unwrap().size, verified.entries - 1);

    let sealed = past.seal().await;
    assert_eq!((sealed.sealed, sealed.seal.as_ref().unwrap().sequence), (1, 4));
    let again = past.seal().await;
    assert_eq!((again.sealed, again.seal), (0, sealed.seal), "nothing to seal makes no seal");
    past.house.close().await;
}

#[tokio::test]
async fn pages_of_seals_go_on_where_they_ended() {
    let past = Past::new().await;
    let mut eyes = past.eyes().ledger();
    let mut ask = v1::ListSealsRequest { page: Some(v1::PageRequest { size: 3, token: String::new() }) };
    let first = eyes.list_seals(ask.clone()).await.unwrap().into_inner();
    ask.page = Some(v1::PageRequest { size: 3, token: first.page.unwrap().next_token });
    let rest = eyes.list_seals(ask).await.unwrap().into_inner();
    assert_eq!((first.seals.len(), rest.seals.len()), (3, 1));
    assert_eq!(rest.seals[0].size, 0, "the chain begins with the seal over nothing");
    past.house.close().await;
}

#[tokio::test]
async fn sealers_and_writers_at_once_leave_one_chain_over_every_entry() {
    let past = Past::new().await;
    let stop = CancellationToken::new();
    let every = Duration::from_millis(1);
    let jobs = (0..3).map(|_| tokio::spawn(sealer::run(past.house.records.clone(), every, stop.clone())));
    let jobs: Vec<_> = jobs.collect();
    let asked = join_all((0..6).map(|_| past.seal()));
    let written = join_all((0..24).map(|n| past.weigh("Bramble", 8_000 + n)));
    let (weights, _) = tokio::join!(written, asked);
    assert_eq!(weights.len(), 24);
    stop.cancel();
    for job in jobs {
        job.await.unwrap();
    }
    past.seal().await;
    let verified = past.verify().await;
    assert_eq!((verified.found, verified.unsealed), (0, 0), "{:?}", verified.breaks);
    let mut owner = past.house.owner().await;
    let entries: i64 = sqlx::query_scalar("SELECT count(*) FROM ledger").fetch_one(&mut owner).await.unwrap();
    assert_eq!(verified.newest.unwrap().size, entries);
    past.house.close().await;
}

#[tokio::test]
async fn a_write_that_is_under_way_when_a_seal_is_made_comes_after_it() {
    let past = Past::new().await;
    let mut holder = past.house.owner().await;
    sqlx::query("BEGIN").execute(&mut holder).await.unwrap();
    sqlx::query("SELECT FROM animals WHERE id = $1::uuid FOR UPDATE")
        .bind(&past.otter.id)
        .execute(&mut holder)
        .await
        .unwrap();
    let late = past.weigh("Bramble", 8_020);
    let meanwhile = async {
        // The reading has its time, and waits for the animal.
        past.house.until_waiting(&mut past.house.owner().await, 1).await;
        past.house.enclosure(&past.quill, "Weir").await;
        let sealed = past.seal().await;
        sqlx::query("COMMIT").execute(&mut holder).await.unwrap();
        sealed
    };
    let (_, sealed) = tokio::join!(late, meanwhile);
    let newest = past.seal().await;
    assert_eq!((sealed.sealed, newest.sealed), (2, 1));
    let mut owner = past.house.owner().await;
    let order: Vec<String> = sqlx::query_scalar(
        "SELECT method FROM ledger l JOIN leaves v ON v.entry_id = l.id ORDER BY position DESC LIMIT 2",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(order, ["WeightService/RecordWeights", "SiteService/CreateEnclosure"]);
    let earlier: bool = sqlx::query_scalar(
        "SELECT (SELECT recorded_at FROM leaves ORDER BY position DESC LIMIT 1)
              < (SELECT recorded_at FROM leaves ORDER BY position DESC OFFSET 1 LIMIT 1)",
    )
    .fetch_one(&mut owner)
    .await
    .unwrap();
    assert!(earlier, "it was recorded before what is sealed before it");
    past.house.close().await;
}
