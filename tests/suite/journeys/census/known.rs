//! The same question as known at the same instant has the same answer for ever.

use super::asked;
use crate::journeys::litters::pair;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use prost::Message;

#[tokio::test]
async fn what_was_recorded_later_changes_no_return_that_was_made_before() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let ask = v1::GetStockReturnRequest {
        as_known_at: Some(timestamp(books.house.clock.now())),
        ..asked("QUI", "2026-01-01", "2026-12-31", false)
    };
    let told = async |ask: v1::GetStockReturnRequest| {
        books.park.auditor.client.census().get_stock_return(ask).await.unwrap().into_inner()
    };
    let before = told(ask.clone()).await;
    books.young_died(&litter, "2026-02-18", "0.0.1").await.unwrap();
    books.told_apart(books.apart(&litter, "2026-02-20", v1::Sex::Male)).await.unwrap();
    books.died(books.death("Bramble", "2026-02-21")).await.unwrap();
    let again = told(ask.clone()).await;
    assert_eq!(again.encode_to_vec(), before.encode_to_vec());
    let now = told(v1::GetStockReturnRequest { as_known_at: None, ..ask }).await;
    assert_eq!(now.returns[0].total.as_ref().unwrap().closing.unwrap().to_string(), "2.0.2");
    assert_ne!(now.returns, before.returns);
    books.house.close().await;
}
