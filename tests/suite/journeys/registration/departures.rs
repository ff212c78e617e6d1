//! Departures to somewhere outside, and escapes.

use super::{Books, fields};
use holt_proto::v1::{self, AnimalStatus, DepartureDestination};
use holt_tests::reason;

#[tokio::test]
async fn an_animal_that_left_is_where_it_went() {
    let books = Books::new().await;
    books.house.enclosure(&books.park, "Weir").await;
    let arrival =
        v1::RegisterArrivalRequest { enclosure: "Weir".to_owned(), ..books.arrival("Bramble", "2025-03-01") };
    let bramble = books.arrived(arrival).await.unwrap();
    let left = books.departed(books.departure("Bramble", "2026-02-20")).await.unwrap();
    assert_eq!((left.status(), left.holder.as_str()), (AnimalStatus::Departed, ""));
    assert_eq!((left.went_to.as_str(), left.enclosure.as_str()), ("Fenwater Collection", ""));
    assert_eq!(books.held(None).await, [""; 0]);
    assert_eq!(books.get(&bramble.accession).await.unwrap(), left);
    let again = books.departed(books.departure(&bramble.accession, "2026-02-21")).await.unwrap_err();
    assert_eq!(reason(&again), "ANIMAL_NOT_HELD_THEN");
    assert!(again.message().contains("Fenwater Collection"), "{}", again.message());
    books.house.close().await;
}

#[tokio::test]
async fn an_escaped_animal_is_at_large() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    let escape = v1::RecordDepartureRequest {
        destination: DepartureDestination::Escape.into(),
        destination_name: String::new(),
        ..books.departure("Bramble", "2026-02-20")
    };
    let gone = books.departed(escape).await.unwrap();
    assert_eq!((gone.status(), gone.went_to.as_str()), (AnimalStatus::AtLarge, ""));
    let mark = books.mark("QUI-25-0001", v1::MarkKind::Ring, "Q-17");
    let refused = books.marked(mark).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_NOT_HELD_THEN");
    assert!(refused.message().contains("escaped"), "{}", refused.message());
    books.house.close().await;
}

#[tokio::test]
async fn what_is_promised_to_another_site_does_not_leave() {
    let books = Books::new().await;
    books.house.park("BRA", "America/Halifax").await;
    books.house.otter(&books.park, "Bramble").await;
    books.propose("Bramble", "BRA").await;
    let refused = books.departed(books.departure("Bramble", "2026-03-02")).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_ON_THE_MOVE");
    books.house.close().await;
}

#[tokio::test]
async fn a_departure_lies_after_the_arrival_and_not_ahead() {
    let books = Books::new().await;
    let bramble = books.house.otter(&books.park, "Bramble").await;
    for (on, wanted) in [("2025-02-28", "OUT_OF_ORDER"), ("2026-03-03", "IN_THE_FUTURE")] {
        let refused = books.departed(books.departure(&bramble.accession, on)).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), (wanted, vec!["departed_on".to_owned()]));
    }
    books.house.close().await;
}
