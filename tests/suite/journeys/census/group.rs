//! Several sites: each by itself, and all together, where a move between them is in no column.

use super::{columns, returns};
use crate::journeys::registration::Books;
use holt_proto::v1;
use holt_server::model::person::Role;

async fn move_to(books: &Books, other: &holt_tests::Park, animal: &str) {
    let (house, ours, theirs) = (&books.house, &books.park.registrar.client, &other.registrar.client);
    let transfer_id = books.propose(animal, &other.code).await.id;
    let request_id = || house.request();
    let agree = v1::AgreeTransferRequest {
        request_id: request_id(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    theirs.transfers().agree_transfer(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: request_id(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    ours.transfers().dispatch_transfer(dispatch).await.unwrap();
    let receive = v1::ReceiveTransferRequest { request_id: request_id(), transfer_id, ..Default::default() };
    theirs.transfers().receive_transfer(receive).await.unwrap();
}

#[tokio::test]
async fn a_move_is_a_departure_here_an_arrival_there_and_nothing_for_both() {
    let books = Books::new().await;
    // Where it is still the day before.
    let merrow = books.house.park("MER", "Pacific/Honolulu").await;
    for name in ["Bramble", "Sedge"] {
        books.arrived(books.arrival(name, "2025-03-01")).await.unwrap();
    }
    move_to(&books, &merrow, "Bramble").await;
    let both =
        books.house.person("both", &[(Role::Auditor, Some("QUI")), (Role::Auditor, Some("MER"))]).await;
    let days = ("2026-01-01", "2026-12-31");
    let apart = returns(&both, "", days.0, days.1, false).await.unwrap();
    let told: Vec<(&str, [String; 9])> =
        apart.iter().map(|told| (told.sites[0].as_str(), columns(&told.lines[0]))).collect();
    let none = "0.0.0";
    assert_eq!(
        told,
        [
            ("MER", [none, "0.1.0", none, none, none, none, none, none, "0.1.0"].map(str::to_owned)),
            ("QUI", ["0.2.0", none, none, none, none, "0.1.0", none, none, "0.1.0"].map(str::to_owned)),
        ]
    );
    let together = returns(&both, "", days.0, days.1, true).await.unwrap();
    let [together] = together.as_slice() else { panic!("{together:?}") };
    assert_eq!(together.sites, ["MER", "QUI"]);
    assert_eq!(columns(&together.lines[0]), ["0.2.0", none, none, none, none, none, none, none, "0.2.0"]);
    assert!(together.balances && together.name.is_empty());
    // The sender sees its own books and nobody else's.
    let own = returns(&books.park.auditor, "", days.0, days.1, false).await.unwrap();
    assert_eq!(own.iter().map(|told| told.sites.join("+")).collect::<Vec<_>>(), ["QUI"]);
    books.house.close().await;
}

/// On 2 March in the one and still 1 March in the other: by days alone it came there before it came at all.
#[tokio::test]
async fn an_animal_that_moves_west_on_its_first_day_came_once() {
    let books = Books::new().await;
    let merrow = books.house.park("MER", "Pacific/Honolulu").await;
    books.arrived(books.arrival("Bramble", "2026-03-02")).await.unwrap();
    move_to(&books, &merrow, "Bramble").await;
    let both =
        books.house.person("both", &[(Role::Auditor, Some("QUI")), (Role::Auditor, Some("MER"))]).await;
    let none = "0.0.0";
    let together = returns(&both, "", "2026-01-01", "2026-03-01", true).await.unwrap();
    assert_eq!(together[0].lines, [], "nobody came to the two before 2 March");
    let together = returns(&both, "", "2026-03-02", "2026-03-02", true).await.unwrap();
    assert_eq!(
        columns(&together[0].lines[0]),
        [none, "0.1.0", none, none, none, none, none, none, "0.1.0"],
        "{together:?}"
    );
    books.house.close().await;
}
