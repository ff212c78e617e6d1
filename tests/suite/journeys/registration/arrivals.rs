//! Arrivals from outside.

use super::{Books, fields};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::reason;

#[tokio::test]
async fn a_day_of_birth_keeps_the_precision_that_it_came_with() {
    let books = Books::new().await;
    for (n, (text, estimated)) in
        [("2019", true), ("2019-05", false), ("2019-05-17", false), ("2020-02-29", false)]
            .into_iter()
            .enumerate()
    {
        let arrival = v1::RegisterArrivalRequest {
            born_on: Some(text.parse().unwrap()),
            born_estimated: estimated,
            ..books.arrival(&format!("Otter {n}"), "2026-02-01")
        };
        let arrived = books.arrived(arrival).await.unwrap();
        assert_eq!(arrived.born_on.unwrap().to_string(), text);
        assert_eq!(arrived.born_estimated, estimated);
        assert_eq!(books.get(&arrived.accession).await.unwrap().born_on, arrived.born_on);
    }
    let nothing = v1::RegisterArrivalRequest { born_on: None, ..books.arrival("Sedge", "2026-02-01") };
    assert_eq!(books.arrived(nothing).await.unwrap().born_on, None);
    for impossible in ["2019-02-29", "2019-13"] {
        let [year, month, day] = {
            let mut parts = impossible.split('-').map(|part| part.parse().unwrap());
            [parts.next().unwrap(), parts.next().unwrap_or(0), parts.next().unwrap_or(0)]
        };
        let born_on = Some(v1::Day { year, month, day });
        let arrival = v1::RegisterArrivalRequest { born_on, ..books.arrival("Rush", "2026-02-01") };
        assert_eq!(fields(&books.arrived(arrival).await.unwrap_err()), ["born_on"], "{impossible}");
    }
    books.house.close().await;
}

#[tokio::test]
async fn it_is_born_before_it_comes_as_far_as_is_known() {
    let books = Books::new().await;
    for (born, comes) in
        [("2026-02-01", true), ("2026-02", true), ("2026", true), ("2026-02-02", false), ("2026-03", false)]
    {
        let arrival = v1::RegisterArrivalRequest {
            born_on: Some(born.parse().unwrap()),
            ..books.arrival(&format!("Otter of {born}"), "2026-02-01")
        };
        match books.arrived(arrival).await {
            Ok(_) => assert!(comes, "{born}"),
            Err(refused) => {
                assert!(!comes, "{born}");
                assert_eq!(reason(&refused), "OUT_OF_ORDER");
                assert_eq!(fields(&refused), ["born_on"]);
            }
        }
    }
    books.house.close().await;
}

#[tokio::test]
async fn an_instant_belongs_to_the_day_it_is_given_for_in_the_zone_of_the_site() {
    let books = Books::new().await;
    // Summer: in Dublin the day begins at 23:00 UTC of the day before.
    for (at, fits) in [
        ("2025-07-01T22:59:59.999999Z", true),
        ("2025-06-30T23:00:00Z", true),
        ("2025-06-30T22:59:59Z", false),
        ("2025-07-01T23:00:00Z", false),
    ] {
        let arrival = v1::RegisterArrivalRequest {
            arrived_at: Some(timestamp(at.parse().unwrap())),
            ..books.arrival(&format!("Otter of {at}"), "2025-07-01")
        };
        let arrived = books.arrived(arrival).await;
        assert_eq!(arrived.is_ok(), fits, "{at}");
        if let Err(refused) = arrived {
            assert_eq!(
                (reason(&refused).as_str(), fields(&refused)),
                ("MALFORMED", vec!["arrived_at".to_owned()])
            );
        }
    }
    books.house.close().await;
}

#[tokio::test]
async fn holder_and_owner_are_two() {
    let books = Books::new().await;
    books.house.park("BRA", "America/Halifax").await;
    for (owner, wanted) in
        [("", "QUI"), ("BRA", "BRA"), ("The widow of a collector", "The widow of a collector")]
    {
        let arrival = v1::RegisterArrivalRequest {
            owner: owner.to_owned(),
            ..books.arrival(&format!("Otter of {wanted}"), "2026-02-01")
        };
        let arrived = books.arrived(arrival).await.unwrap();
        assert_eq!((arrived.holder.as_str(), arrived.owner.as_str()), ("QUI", wanted));
    }
    books.house.close().await;
}
