//! What ends a membership, whoever forgets the group.

use super::{family, names};
use holt_proto::v1;
use holt_proto::v1::GroupRole::Member;

async fn why_ended(books: &crate::journeys::registration::Books) -> Vec<String> {
    let mut owner = books.house.owner().await;
    let sql = "SELECT ended_why FROM memberships WHERE superseded_at IS NULL AND ended_at IS NOT NULL";
    sqlx::query_scalar(sql).fetch_all(&mut owner).await.unwrap()
}

#[tokio::test]
async fn a_death_ends_it_and_so_does_a_departure() {
    let books = family().await;
    books.joined(books.joining(&["Bramble", "Sedge"], Member)).await.unwrap();
    books.house.clock.advance(chrono::TimeDelta::hours(1));
    books.died(books.death("Bramble", "2026-03-02")).await.unwrap();
    assert_eq!(why_ended(&books).await, ["the animal died"]);
    books.departed(books.departure("Sedge", "2026-03-02")).await.unwrap();
    assert_eq!(why_ended(&books).await, ["the animal died", "the animal departed"]);
    assert!(names(&books.roll(None).await).is_empty());
    books.house.close().await;
}

#[tokio::test]
async fn a_move_to_another_site_ends_it_and_a_move_that_was_called_off_does_not() {
    let books = family().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    books.joined(books.joining(&["Bramble"], Member)).await.unwrap();
    let transfer_id = books.propose("Bramble", "BRA").await.id;
    let request_id = || books.house.request();
    let agree = v1::AgreeTransferRequest {
        request_id: request_id(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: request_id(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    books.park.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
    assert_eq!(names(&books.roll(None).await).len(), 1, "on its way it is Quill's still");
    let receive = v1::ReceiveTransferRequest { request_id: request_id(), transfer_id, ..Default::default() };
    brack.registrar.client.transfers().receive_transfer(receive).await.unwrap();
    assert!(names(&books.roll(None).await).is_empty());
    assert_eq!(why_ended(&books).await, ["the animal went to another site"]);
    books.house.close().await;
}
