//! A whole group moves in one call, at one instant.

use super::family;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::GroupRole::Member;
use holt_tests::reason;
use tonic::Status;

use crate::journeys::registration::Books;

async fn moved(books: &Books, enclosure: &str, at: Option<&str>) -> Result<v1::MoveGroupResponse, Status> {
    let moving = v1::MoveGroupRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        enclosure: enclosure.to_owned(),
        moved_at: at.map(|at| timestamp(at.parse().unwrap())),
    };
    Ok(books.park.keeper.client.groups().move_group(moving).await?.into_inner())
}

#[tokio::test]
async fn all_members_move_at_one_instant_or_none_does() {
    let books = family().await;
    for name in ["Weir", "Night house"] {
        books.house.enclosure(&books.park, name).await;
    }
    assert_eq!(reason(&moved(&books, "Weir", None).await.unwrap_err()), "NOT_FOUND", "nobody is in it");
    books.joined(books.joining(&["Bramble", "Alder", "Sedge"], Member)).await.unwrap();
    let first = moved(&books, "Weir", Some("2026-02-01T10:00:00Z")).await.unwrap();
    assert_eq!((first.moved, first.occupants, first.over_capacity), (3, 3, false));
    let place = v1::PlaceAnimalsRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animals: vec!["Sedge".to_owned()],
        enclosure: "Night house".to_owned(),
        placed_at: Some(timestamp("2026-02-20T10:00:00Z".parse().unwrap())),
    };
    books.park.keeper.client.placements().place_animals(place).await.unwrap();
    // Sedge moved after that, so nobody moves.
    let refused = moved(&books, "Night house", Some("2026-02-10T10:00:00Z")).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    let roll = books.roll(None).await;
    assert_eq!(roll.group.unwrap().enclosures, ["Night house", "Weir"]);
    let second = moved(&books, "Night house", Some("2026-02-25T10:00:00Z")).await.unwrap();
    assert_eq!((second.moved, second.occupants), (2, 3), "Sedge was there already");
    let mut owner = books.house.owner().await;
    let instants: Vec<chrono::DateTime<chrono::Utc>> = sqlx::query_scalar(
        "SELECT DISTINCT began_at FROM placements WHERE superseded_at IS NULL AND ended_at IS NULL ORDER BY 1",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(instants.len(), 2);
    assert_eq!(instants[1].to_rfc3339(), "2026-02-25T10:00:00+00:00");
    assert_eq!(reason(&moved(&books, "Nowhere", None).await.unwrap_err()), "NOT_FOUND");
    books.house.close().await;
}
