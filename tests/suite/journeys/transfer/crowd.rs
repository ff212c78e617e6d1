//! Many at once: two hundred receipts of one transfer, and fifty of fifty.

use super::{Move, propose};
use holt_proto::v1;
use holt_tests::{House, reason};
use std::collections::BTreeMap;

#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_receipts_of_one_transfer() {
    let this = Move::dispatched_in(House::with(|config| config.store.acquire_seconds = 120).await).await;
    let calls = (0..200).map(|_| {
        let (receipt, client) = (this.receipt(), this.brack.registrar.client.clone());
        tokio::spawn(async move { client.transfers().receive_transfer(receipt).await })
    });
    let mut told: BTreeMap<String, usize> = BTreeMap::new();
    for call in calls.collect::<Vec<_>>() {
        let answer = match call.await.unwrap() {
            Ok(answer) => answer.into_inner().accession,
            Err(refused) => reason(&refused),
        };
        *told.entry(answer).or_default() += 1;
    }
    println!("200 receipts of one transfer: {told:?}");
    assert_eq!(told.get("BRA-26-0001"), Some(&1));
    assert_eq!(told.get("TRANSFER_WRONG_STATE"), Some(&199));
    let mut owner = this.house.owner().await;
    let holders: Vec<(String,)> = sqlx::query_as(
        "SELECT s.code FROM holdings h JOIN sites s ON s.id = h.site_id
          WHERE h.superseded_at IS NULL AND h.ended_at IS NULL",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(holders, [("BRA".to_owned(),)]);
    this.house.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn fifty_receipts_of_fifty_transfers() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "America/Halifax").await;
    let mut transfers = Vec::new();
    for n in 0..50 {
        let otter = house.otter(&quill, &format!("Otter {n}")).await;
        let id = propose(&house, &quill, &otter.id, "BRA").await.unwrap().id;
        let agree = v1::AgreeTransferRequest {
            request_id: house.request(),
            transfer_id: id.clone(),
            ..Default::default()
        };
        brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
        let dispatch = v1::DispatchTransferRequest {
            request_id: house.request(),
            transfer_id: id.clone(),
            ..Default::default()
        };
        quill.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
        transfers.push(id);
    }
    let calls = transfers.into_iter().map(|transfer_id| {
        let receipt =
            v1::ReceiveTransferRequest { request_id: house.request(), transfer_id, ..Default::default() };
        let client = brack.registrar.client.clone();
        tokio::spawn(async move { client.transfers().receive_transfer(receipt).await })
    });
    let mut numbers = Vec::new();
    for call in calls.collect::<Vec<_>>() {
        match call.await.unwrap() {
            Ok(answer) => numbers.push(answer.into_inner().accession),
            Err(refused) => panic!("{:?}: {refused:?}", refused.code()),
        }
    }
    numbers.sort();
    let wanted: Vec<String> = (1..=50).map(|n| format!("BRA-26-{n:04}")).collect();
    assert_eq!(numbers, wanted, "fifty numbers in a row, none twice and none left out");
    let mut owner = house.owner().await;
    let held: Vec<(String, i64)> = sqlx::query_as(
        "SELECT s.code, count(*) FROM holdings h JOIN sites s ON s.id = h.site_id
          WHERE h.superseded_at IS NULL AND h.ended_at IS NULL GROUP BY s.code",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    println!("50 receipts of 50 transfers: {held:?}");
    assert_eq!(held, [("BRA".to_owned(), 50)]);
    house.close().await;
}
